"use strict";
(function () {
  var round = JSON.parse(document.getElementById("round").textContent);
  var store = "greaseroute " + round.round;
  var state = { ticks: {}, meters: {} };
  var saved = true;
  try {
    var old = localStorage.getItem(store);
    if (old) state = JSON.parse(old);
    localStorage.setItem(store, JSON.stringify(state));
  } catch (refused) {
    saved = false;
  }

  function keep() {
    if (saved) {
      try { localStorage.setItem(store, JSON.stringify(state)); } catch (full) { saved = false; }
    }
    show();
  }
  function fresh() {
    var bytes = new Uint8Array(8);
    crypto.getRandomValues(bytes);
    return Array.from(bytes, function (b) { return b.toString(16).padStart(2, "0"); }).join("");
  }
  function keyOf(row) {
    var d = row.dataset;
    return JSON.stringify([d.walk, d.unit, d.look ? "look" : "pump", d.look || d.joint, d.fitting || ""]);
  }
  function mark(row, done, reason) {
    var key = keyOf(row);
    if (!done && !reason) delete state.ticks[key];
    else state.ticks[key] = { id: fresh(), at: new Date().toISOString(), done: done, reason: reason };
    keep();
  }
  function events() {
    return rows.filter(function (row) { return state.ticks[keyOf(row)]; }).map(function (row) {
      var tick = state.ticks[keyOf(row)], d = row.dataset;
      var event = { id: tick.id, at: tick.at, technician: d.walk, unit: d.unit, done: tick.done };
      if (d.look) event.look = d.look;
      else {
        event.joint = d.joint;
        event.fitting = d.fitting;
        event.grease = d.grease;
        event.strokes = tick.done ? Number(d.strokes) : 0;
      }
      if (tick.reason) event.reason = tick.reason;
      return event;
    });
  }
  function meters() {
    return Object.keys(state.meters).sort().map(function (unit) {
      return { unit: unit, meter_h: state.meters[unit].meter_h, at: state.meters[unit].at };
    });
  }
  function report() {
    return JSON.stringify({
      format: round.format, round: round.round, site: round.site, planned_for: round.at,
      exported_at: new Date().toISOString(), events: events(), meters: meters()
    }, null, 1);
  }
  function show() {
    var done = 0;
    rows.forEach(function (row) {
      var tick = state.ticks[keyOf(row)];
      row.classList.toggle("done", !!tick && tick.done);
      row.classList.toggle("not", !!tick && !tick.done);
      row.querySelector("input").checked = !!tick && tick.done;
      row.querySelector("select").value = tick && tick.reason ? tick.reason : "";
      if (tick) done += 1;
    });
    document.getElementById("count").textContent = done + " of " + rows.length + " settled";
    var kept = document.getElementById("kept");
    kept.textContent = saved ? "kept on this phone" : "NOT saved on this phone";
    kept.className = saved ? "" : "lost";
    document.getElementById("text").value = report();
  }
  function chooser(row) {
    var select = document.createElement("select");
    select.setAttribute("aria-label", "could not, why");
    [""].concat(round.reasons).forEach(function (reason) {
      var option = document.createElement("option");
      option.value = reason;
      option.textContent = reason || "could not ...";
      select.appendChild(option);
    });
    select.addEventListener("change", function () { mark(row, false, select.value); });
    var box = document.createElement("span");
    box.className = "screen";
    box.appendChild(select);
    row.querySelector(".could").appendChild(box);
  }

  var rows = Array.from(document.querySelectorAll("tr.row"));
  rows.forEach(function (row) {
    chooser(row);
    var box = row.querySelector("input");
    box.addEventListener("change", function () { mark(row, box.checked, ""); });
  });
  document.querySelectorAll("[data-meter]").forEach(function (field) {
    var unit = field.dataset.meter;
    if (state.meters[unit]) field.value = state.meters[unit].meter_h;
    field.addEventListener("change", function () {
      if (field.value === "" || !field.checkValidity()) delete state.meters[unit];
      else state.meters[unit] = { meter_h: Number(field.value), at: new Date().toISOString() };
      keep();
    });
  });
  document.getElementById("save").addEventListener("click", function () {
    var link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([report()], { type: "application/json" }));
    link.download = "card-" + round.round + ".json";
    document.body.appendChild(link);
    link.click();
    link.remove();
    setTimeout(function () { URL.revokeObjectURL(link.href); }, 10000);
  });
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details").forEach(function (part) { part.open = true; });
  });
  document.getElementById("bar").hidden = false;
  document.getElementById("export").hidden = false;
  show();
})();
