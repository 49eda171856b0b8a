(function () {
  "use strict";
  // Points of a picture by keyboard: arrows walk, Home and End go to the ends, Escape takes the label away. The label is
  // the one that a pointer brings up, and the same text is spoken.
  var spoken = document.getElementById("spoken-point");
  var signs = { "&lt;": "<", "&gt;": ">", "&#36;": "$", "&amp;": "&", "<br>": ", " };

  function plain(label) {
    return label.replace(/&lt;|&gt;|&#36;|&amp;|<br>/g, function (found) { return signs[found]; });
  }

  // The points that have a label, in reading order: along the axis of time, or from the top row down.
  function pointsOf(plot) {
    var found = [];
    plot.data.forEach(function (trace, curve) {
      var full = plot._fullData[curve];
      (trace.hovertext || []).forEach(function (text, at) {
        if (!text || full.y[at] === null || full.x[at] === null) { return; }
        var panel = plot._fullLayout._subplots.yaxis.indexOf(full.yaxis);
        found.push({ curve: curve, at: at, text: text, panel: panel, subplot: full.xaxis + full.yaxis,
          along: plot.layout.meta === "rows" ? -Math.round(full.y[at]) : full.x[at] });
      });
    });
    return found.sort(function (a, b) { return a.panel - b.panel || a.along - b.along || a.curve - b.curve || a.at - b.at; });
  }

  function hide(plot) {
    plot.walked = -1;
    window.Plotly.Fx.unhover(plot, { target: plot });
    spoken.textContent = "";
  }

  function show(plot, place) {
    var points = pointsOf(plot);
    if (!points.length) { return; }
    plot.walked = Math.max(0, Math.min(points.length - 1, place));
    var point = points[plot.walked];
    window.Plotly.Fx.hover(plot, [{ curveNumber: point.curve, pointNumber: point.at }], point.subplot);
    spoken.textContent = plain(point.text) + " (" + (plot.walked + 1) + " of " + points.length + ")";
  }

  function press(event) {
    var plot = event.currentTarget;
    if (!plot.data || event.altKey || event.ctrlKey || event.metaKey) { return; }
    var now = plot.walked;
    var to = { ArrowRight: now + 1, ArrowDown: now + 1, ArrowLeft: Math.max(0, now - 1), ArrowUp: Math.max(0, now - 1),
      Home: 0, End: Infinity }[event.key];
    if (to === undefined) { return; }
    event.preventDefault();
    show(plot, to);
  }

  // A pointer may move onto the label without losing it (WCAG 2.2, 1.4.13).
  function keepsLabel(plot, event) {
    if (!event || event.clientX === undefined) { return true; }
    return !Array.prototype.some.call(plot.querySelectorAll(".hoverlayer .hovertext"), function (label) {
      var box = label.getBoundingClientRect();
      return event.clientX >= box.left - 6 && event.clientX <= box.right + 6 &&
        event.clientY >= box.top - 6 && event.clientY <= box.bottom + 6;
    });
  }

  if (document.documentElement.classList.contains("draws")) {
    document.querySelectorAll(".plot").forEach(function (plot) {
      plot.tabIndex = 0;
      plot.setAttribute("role", "application");
      plot.setAttribute("aria-roledescription", "chart, arrow keys walk through its points");
      plot.addEventListener("keydown", press);
      plot.addEventListener("blur", function () { if (plot.walked >= 0) { hide(plot); } });
    });
  }

  document.addEventListener("drawn", function (event) {
    var plot = event.target;
    plot.walked = -1;
    plot.firstElementChild.setAttribute("aria-hidden", "true");  // loose texts; the table holds them in order
    if (plot.keeps) { return; }
    plot.keeps = true;
    plot.on("plotly_beforehover", function (hovering) { return keepsLabel(plot, hovering); });
  });

  document.addEventListener("keydown", function (event) {
    if (event.key !== "Escape") { return; }
    document.querySelectorAll(".plot.drawn").forEach(function (plot) {
      if (plot.querySelector(".hoverlayer .hovertext")) { hide(plot); }
    });
  });
}());
