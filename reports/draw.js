(function () {
  "use strict";
  var root = document.documentElement;

  // A box that scrolls must be reachable by keyboard; one that does not should be no stop on the way.
  function stops() {
    document.querySelectorAll(".scroll").forEach(function (box) {
      if (box.scrollWidth > box.clientWidth) { box.tabIndex = 0; } else { box.removeAttribute("tabindex"); }
    });
  }
  stops();
  window.addEventListener("resize", stops);
  document.addEventListener("toggle", stops, true);

  if (!root.classList.contains("draws")) { return; }
  var plots = Array.prototype.slice.call(document.querySelectorAll(".plot"));
  var packed = document.getElementById("plotly-packed");
  var ready = false;
  var asked = false;
  var queue = [];

  function set(target, path, value) {
    var keys = path.split(".");
    var last = keys.pop();
    keys.forEach(function (key) { target = target[key] = target[key] || {}; });
    target[last] = value;
  }

  function layoutFor(spec, narrow) {
    var layout = JSON.parse(JSON.stringify(spec.layout));
    if (narrow) { Object.keys(spec.narrow).forEach(function (path) { set(layout, path, spec.narrow[path]); }); }
    return layout;
  }

  function specOf(id) { return JSON.parse(document.getElementById("data-" + id).textContent); }

  // Another picture of the same kind in the same box; its title and description go with it.
  function pick(list) {
    var plot = document.getElementById("plot-" + list.dataset.plot);
    var spec = specOf(list.value);
    document.getElementById("title-" + list.dataset.plot).textContent = spec.title;
    document.getElementById("about-" + list.dataset.plot).textContent = spec.about;
    plot.dataset.shows = list.value;
    plot.drawnWidth = 0;
    draw(plot);
  }

  function draw(plot) {
    if (!ready || !plot.clientWidth) { return; }
    var width = plot.clientWidth;
    if (plot.drawnWidth === width) { return; }
    var spec = specOf(plot.dataset.shows || plot.id.replace("plot-", ""));
    var layout = layoutFor(spec, width < 480);
    layout.width = width;
    layout.height = plot.clientHeight;
    window.Plotly.react(plot, spec.data, layout, { displayModeBar: false, responsive: false });
    plot.drawnWidth = width;
    plot.classList.add("drawn");
    // On paper the drawing scales with the column, so each layer needs its own coordinate system.
    plot.querySelectorAll(".main-svg").forEach(function (layer) {
      layer.setAttribute("viewBox", "0 0 " + width + " " + layout.height);
    });
    plot.dispatchEvent(new Event("drawn", { bubbles: true }));
  }

  // One picture a turn, so that scrolling and typing never wait for more than one.
  function drawNext() {
    var plot = queue.shift();
    if (!plot) { return; }
    draw(plot);
    setTimeout(drawNext, 0);
  }

  function drawSoon(plot) {
    if (queue.push(plot) === 1) { setTimeout(drawNext, 0); }
  }

  // Browsers apply the print style before they say so; undrawn boxes must be there to be measured.
  function drawAll() {
    root.classList.add("printing");
    plots.forEach(draw);
    root.classList.remove("printing");
  }

  function drawAgain() { plots.forEach(function (plot) { if (plot.drawnWidth) { draw(plot); } }); }

  function openAll() {
    document.querySelectorAll("details:not([open])").forEach(function (fold) {
      fold.open = true;
      fold.dataset.closed = "yes";
    });
  }

  function closeAgain() {
    document.querySelectorAll("details[data-closed]").forEach(function (fold) {
      fold.open = false;
      delete fold.dataset.closed;
    });
  }

  function watch() {
    ready = true;
    root.classList.add("ready");
    var near = new IntersectionObserver(function (entries) {
      entries.forEach(function (entry) { if (entry.isIntersecting) { drawSoon(entry.target); } });
    }, { rootMargin: "600px 0px" });
    plots.forEach(function (plot) { near.observe(plot); });
    document.querySelectorAll(".picker select").forEach(function (list) {
      list.addEventListener("change", function () { pick(list); });
      if (list.selectedIndex > 0) { pick(list); }  // a reloaded page keeps what was picked
    });
    var waiting = 0;
    window.addEventListener("resize", function () {
      clearTimeout(waiting);
      waiting = setTimeout(drawAgain, 150);
    });
  }

  window.addEventListener("beforeprint", function () { openAll(); drawAll(); });
  window.addEventListener("afterprint", function () { closeAgain(); drawAgain(); });
  window.matchMedia("print").addEventListener("change", function (event) { if (event.matches) { drawAll(); } });

  // Straight from memory and back: a blob would go by way of the browser's own process, which can take seconds.
  function inflated(bytes) {
    var stream = new DecompressionStream("gzip");
    var writer = stream.writable.getWriter(), reader = stream.readable.getReader();
    var decoder = new TextDecoder(), text = "";
    function fail() { return undefined; }  // the reader tells of it too
    writer.write(bytes).catch(fail);
    writer.close().catch(fail);
    function next() {
      return reader.read().then(function (part) {
        if (part.done) { return text + decoder.decode(); }
        text += decoder.decode(part.value, { stream: true });
        return next();
      });
    }
    return next();
  }

  // Unpacking and reading the drawing library takes a while: it waits until the words stand on the screen, and then for
  // a picture that comes near, the keyboard at one, or a pause.
  function unpack() {
    if (asked) { return; }
    asked = true;
    var text = atob(packed.textContent.trim());
    var bytes = new Uint8Array(text.length);
    for (var i = 0; i < text.length; i += 1) { bytes[i] = text.charCodeAt(i); }
    inflated(bytes).then(function (source) {
      var script = document.createElement("script");
      script.textContent = source;
      document.head.appendChild(script);
      if (!window.Plotly) { root.classList.remove("draws"); return; }
      watch();
    }, function () { root.classList.remove("draws"); });
  }

  function whenPainted(then) { requestAnimationFrame(function () { setTimeout(then, 0); }); }

  whenPainted(function () {
    var first = new IntersectionObserver(function (entries) {
      if (entries.some(function (entry) { return entry.isIntersecting; })) { first.disconnect(); unpack(); }
    }, { rootMargin: "300px 0px" });
    plots.forEach(function (plot) {
      first.observe(plot);
      plot.addEventListener("focus", function () { if (ready) { draw(plot); } else { unpack(); } });
    });
    if (window.requestIdleCallback) { window.requestIdleCallback(unpack, { timeout: 4000 }); }
    else { setTimeout(unpack, 500); }
  });
}());
