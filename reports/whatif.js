(function () {
  "use strict";
  // The formulas of the money part, end-of-year flows; tested against the ones that the tables are made with.
  function annuity(years, rate) {
    var sum = 0;
    for (var year = 1; year <= years; year += 1) { sum += Math.pow(1 + rate, -year); }
    return sum;
  }

  function payback(outlay, yearly, years, rate) {
    if (outlay === 0) { return 0; }
    var left = -outlay;
    for (var year = 1; year <= years; year += 1) {
      var flow = yearly * Math.pow(1 + rate, -year);
      if (flow > 0 && left + flow >= -1e-9 * (outlay + Math.abs(yearly) * annuity(years, rate))) {
        return year - Math.max(0, (left + flow) / flow);
      }
      left += flow;
    }
    return Infinity;
  }

  function judge(proposal, cost, reduction, rate) {
    var worth = annuity(proposal.years, rate);
    var saving = proposal.addressed * reduction * cost;
    return {
      avoided: proposal.addressed * reduction,
      saving: saving,
      npv: (saving - proposal.service) * worth - proposal.outlay,
      breakEven: cost > 0 ? (proposal.outlay / worth + proposal.service) / cost : Infinity,
      payback: payback(proposal.outlay, saving - proposal.service, proposal.years, 0)
    };
  }

  window.programReviewWhatIf = judge;
  var form = document.getElementById("what-if");
  if (!form) { return; }
  var data = JSON.parse(document.getElementById("what-if-data").textContent);
  var field = {};
  ["proposal", "cost", "reduction", "rate", "result"].forEach(function (name) {
    field[name] = document.getElementById("what-if-" + name);
  });

  // Two figures, as in the tables.
  function money(value) {
    var size = Math.abs(value);
    var step = size < 100 ? 1 : Math.pow(10, Math.floor(Math.log10(size)) - 1);
    var shown = Math.round(size / step) * step;
    return (value < 0 && shown > 0 ? "\u2212" : "") + shown.toLocaleString("en-US", { maximumFractionDigits: 0 });
  }

  function start() {
    var chosen = data.proposals[Number(field.proposal.value)];
    field.cost.value = String(Math.round(data.cost));
    field.reduction.value = String(Math.round(1000 * chosen.reduction) / 10);
    field.rate.value = String(100 * data.rate);
    show();
  }

  function show() {
    var cost = Number(field.cost.value), share = Number(field.reduction.value), rate = Number(field.rate.value);
    var fits = field.cost.value !== "" && field.reduction.value !== "" && field.rate.value !== "" &&
      cost >= 0 && share >= 0 && share <= 100 && rate >= 0 && rate <= 50;
    if (!fits) {
      field.result.textContent = "Give a cost of nought or more, a share from 0 to 100% and a rate from 0 to 50%.";
      return;
    }
    var found = judge(data.proposals[Number(field.proposal.value)], cost, share / 100, rate / 100);
    var even = isFinite(found.breakEven) ? found.breakEven.toFixed(1) : "no number of";
    var back = isFinite(found.payback) ? found.payback.toFixed(1) + " years" : "not within its life";
    field.result.textContent = "Net present value about " + money(found.npv) + "; break-even at " + even +
      " avoided cases a year, against " + found.avoided.toFixed(1) + " expected; simple payback: " + back + ".";
  }

  form.addEventListener("submit", function (event) { event.preventDefault(); });
  field.proposal.addEventListener("change", start);
  ["cost", "reduction", "rate"].forEach(function (name) { field[name].addEventListener("input", show); });
  document.documentElement.classList.add("counts");
  start();
}());
