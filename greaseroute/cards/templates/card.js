"use strict";
(function () {
  var round = JSON.parse(document.getElementById("round").textContent);
  var storage = null;
  try { storage = window.localStorage; } catch (refused) { storage = null; }
  var record = CardRecord.open(round, storage);
  var FOUND = round.defects.concat(["took far too much"]);

  function made(tag, label, into) {
    var element = document.createElement(tag);
    if (label) element.setAttribute("aria-label", label);
    if (into) into.appendChild(element);
    return element;
  }
  function chooser(label, first, words, into) {
    var select = made("select", label, into);
    [""].concat(words).forEach(function (word) {
      var option = document.createElement("option");
      option.value = word;
      option.textContent = word || first;
      select.appendChild(option);
    });
    return select;
  }
  function button(text, label, into) {
    var element = made("button", label, into);
    element.type = "button";
    element.textContent = text;
    return element;
  }

  /* One fitting or check of the card: what is set on the page goes into the record and back. */
  function Row(element, walk, place, isCheck) {
    var box = element.querySelector("input");
    var cell = made("span", "", element.querySelector(".could"));
    cell.className = "screen";
    var planned = isCheck ? null : Number(element.dataset.strokes);
    var reason = chooser("could not, why", "could not ...", round.reasons, cell);
    reason.className = "reason";
    var found = isCheck ? chooser("found", "good", ["not good"], cell)
      : chooser("seen on it", "seen ...", FOUND, cell);
    found.className = "found";
    var words = made("input", "in words", cell);
    words.type = "text";
    words.maxLength = 80;
    words.placeholder = "in words";
    var given = planned, shown = null;

    function told() {
      return isCheck ? record.check(walk, place) : record.tick(walk, place);
    }
    function write(change) {
      var now = Object.assign(read(), change);
      var nothing = !now.done && now.done !== false && !now.defect && !now.took;
      var put = isCheck ? record.setCheck : record.setTick;
      put(walk, place, nothing ? null : now);
      show();
      count();
    }
    function read() {
      var now = { done: box.checked ? true : reason.value ? false : null, reason: reason.value };
      var text = words.value.trim();
      if (isCheck) {
        if (now.done && found.value) now.found = text || found.value;
      } else {
        if (now.done && given !== planned) now.strokes = given;
        if (found.value === "took far too much") now.took = true;
        else if (found.value) now.defect = found.value;
        if (found.value && text) now.found = text;
      }
      if (now.done === false && !found.value && text) now.words = text;
      return now;
    }
    function step(by) {
      given = Math.max(0, given + by);
      box.checked = true;
      reason.value = "";
      write({});
    }
    function stepper() {
      var at = element.querySelector(".strokes"), text = made("span", "", null);
      text.className = "paper";
      text.innerHTML = at.innerHTML;
      at.textContent = "";
      at.appendChild(text);
      var set = made("span", "", at);
      set.className = "step screen";
      button("\u2212", "one stroke less", set).addEventListener("click", function () { step(-1); });
      shown = made("b", "", set);
      button("+", "one stroke more", set).addEventListener("click", function () { step(1); });
    }
    function show() {
      var now = told() || {};
      box.checked = now.done === true;
      reason.value = now.reason || "";
      if (isCheck) found.value = now.found ? "not good" : "";
      else {
        found.value = now.took ? "took far too much" : now.defect || "";
        given = now.strokes === undefined || now.strokes === null ? planned : now.strokes;
        shown.textContent = given + "\u2009\u00d7";
        shown.classList.toggle("off", given !== planned);
      }
      words.value = now.words || (now.found === "not good" ? "" : now.found) || "";
      words.hidden = !(reason.value === "other" || found.value);
      element.classList.toggle("done", now.done === true);
      element.classList.toggle("not", now.done === false);
    }
    if (!isCheck) stepper();
    box.addEventListener("change", function () {
      if (box.checked) reason.value = "";
      write({});
    });
    reason.addEventListener("change", function () {
      if (reason.value) box.checked = false;
      write({});
    });
    found.addEventListener("change", function () {
      if (isCheck && found.value) { box.checked = true; reason.value = ""; }
      write({});
    });
    words.addEventListener("change", function () { write({}); });
    show();
  }

  var total = 0;
  document.querySelectorAll("section.walk").forEach(function (section, walk) {
    section.querySelectorAll("tr.row:not(.look)").forEach(function (element, place) {
      total += 1;
      Row(element, walk, place, false);
    });
    section.querySelectorAll("tr.look").forEach(function (element, place) {
      total += 1;
      Row(element, walk, place, true);
    });
  });

  function count() {
    var done = 0;
    record.walks.forEach(function (_, walk) { done += record.told(walk); });
    document.getElementById("count").textContent = done + " of " + total + " settled";
    var kept = document.getElementById("kept");
    kept.textContent = record.saved() ? "kept on this phone" : "NOT saved on this phone";
    kept.className = record.saved() ? "" : "lost";
    document.querySelectorAll(".hand-in").forEach(function (part, walk) {
      var row = record.walks[walk], all = row.fittings.length + row.checks.length;
      part.querySelector(".told").textContent = record.told(walk) + " of " + all + " told";
      if (part.open) render(part, walk);
    });
  }
  function render(part, walk) {
    var receipt = record.receipt(walk);
    part.querySelector(".receipt").value = receipt;
    part.querySelector(".code").innerHTML = QrCode.svg(receipt);
  }
  document.querySelectorAll(".hand-in").forEach(function (part, walk) {
    part.addEventListener("toggle", function () { if (part.open) render(part, walk); });
    part.querySelector(".save").addEventListener("click", function () {
      var text = JSON.stringify(record.report(walk), null, 1);
      var link = made("a", "", document.body);
      link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
      link.download = record.fileName(walk);
      link.click();
      link.remove();
      setTimeout(function () { URL.revokeObjectURL(link.href); }, 10000);
    });
  });

  document.querySelectorAll("[data-meter]").forEach(function (field) {
    var unit = field.dataset.meter, line = field.closest(".meter");
    var ask = made("span", "", line), yes = button("it is so", "the meter reads so", line);
    ask.className = "doubt screen";
    yes.className = "screen";
    function set(sure) {
      var empty = field.value === "" || !field.checkValidity();
      var meter_h = empty ? null : Number(field.value);
      var doubt = empty ? "" : record.meterDoubt(unit, meter_h);
      ask.textContent = doubt && !sure ? doubt + " " + meter_h + " h, is it so?" : "";
      yes.hidden = !doubt || sure;
      record.setMeter(unit, doubt && !sure ? null : meter_h, !!doubt && sure);
      count();
    }
    var known = record.meter(unit);
    if (known) field.value = known.meter_h;
    yes.hidden = true;
    field.addEventListener("change", function () { set(false); });
    yes.addEventListener("click", function () { set(true); });
  });
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details.cautions").forEach(function (part) { part.open = true; });
  });
  document.getElementById("bar").hidden = false;
  document.getElementById("export").hidden = false;
  count();
})();
