/* One fitting or check of the card: what is set on the page goes into the record and back. */
function Row(element, place, card) {
  var record = card.record, say = card.words.say, walk = place.walk, n = place.n;
  var isCheck = element.classList.contains("look");
  var planned = isCheck ? null : Number(element.dataset.strokes), given = planned;
  var box = element.querySelector("input"), opener = null, fold = null;
  var reason, found, words, count, mark = made("small", "", { "class": "mark" }, null);

  function told() { return isCheck ? record.check(walk, n) : record.tick(walk, n); }
  function put(now) { (isCheck ? record.setCheck : record.setTick)(walk, n, now); }
  function read() {
    var old = told() || {};
    if (!fold) return { done: box.checked ? true : null, strokes: old.strokes };
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
  function write() {
    var now = read();
    put(!now.done && now.done !== false && !now.defect && !now.took ? null : now);
    card.changed(element);
  }
  function chooser(label, first, words_, kind) {
    var select = made("select", "", { "aria-label": say(label), "class": kind }, fold);
    [""].concat(words_).forEach(function (word) {
      made("option", word ? card.words.name(word) : say(first), { value: word }, select);
    });
    return select;
  }
  function step(by) {
    given = Math.max(0, given + by);
    box.checked = true;
    reason.value = "";
    write();
  }
  /* What differs is asked for only where somebody opens it: hundreds of choosers would be slow. */
  function open() {
    fold = made("div", "", { "class": "fold" }, element);
    if (!isCheck) {
      var set = made("span", "", { "class": "step" }, fold);
      button("\u2212", { "aria-label": say("less") }, set, function () { step(-1); });
      count = made("b", "", {}, set);
      button("+", { "aria-label": say("more") }, set, function () { step(1); });
    }
    reason = chooser("could_not_why", "could_not", card.round.reasons, "reason");
    found = isCheck ? chooser("found", "good", ["not good"], "found")
      : chooser("seen_on", "seen", card.round.defects.concat(["took far too much"]), "found");
    words = made("input", "", { type: "text", maxlength: 80, placeholder: say("in_words"),
      "aria-label": say("in_words") }, fold);
    reason.addEventListener("change", function () {
      if (reason.value) box.checked = false;
      write();
    });
    found.addEventListener("change", function () {
      if (isCheck && found.value) { box.checked = true; reason.value = ""; }
      write();
    });
    words.addEventListener("change", write);
  }
  function toggle() {
    var first = !fold;
    if (first) open();
    fold.hidden = first ? false : !fold.hidden;
    opener.setAttribute("aria-expanded", String(!fold.hidden));
    show();
  }
  function show() {
    if (!opener) return;
    var now = told() || {}, strokes = now.strokes === undefined || now.strokes === null
      ? planned : now.strokes;
    box.checked = now.done === true;
    element.classList.toggle("done", now.done === true);
    element.classList.toggle("not", now.done === false);
    mark.textContent = marked(now, strokes);
    if (!fold) return;
    given = strokes;
    reason.value = now.reason || "";
    if (isCheck) found.value = now.found ? "not good" : "";
    else {
      found.value = now.took ? "took far too much" : now.defect || "";
      count.textContent = given + "\u2009\u00d7";
      count.classList.toggle("off", given !== planned);
    }
    words.value = now.words || (now.found === "not good" ? "" : now.found) || "";
    words.hidden = !(reason.value === "other" || found.value);
  }
  function marked(now, strokes) {
    var name = card.words.name;
    return [
      now.done === false ? say("could_not_mark") + ": " + name(now.reason || "") : "",
      now.done && strokes !== planned ? strokes + "\u2009\u00d7" : "",
      now.defect ? name(now.defect) : "",
      now.took ? say("too_much") : "",
      isCheck && now.found ? say("not_good") : "",
      now.words || (now.found === "not good" ? "" : now.found) || ""
    ].filter(Boolean).join(" \u00b7 ");
  }
  function speak() {
    if (!opener) return;
    var of = { unit: card.unitOf(element), number: element.dataset.no };
    box.setAttribute("aria-label", say("fitting_done", of));
    opener.setAttribute("aria-label", say("differs", of));
    if (fold) { fold.remove(); fold = null; opener.setAttribute("aria-expanded", "false"); }
  }

  /* Made to be pressed only when its stop is shown: hundreds at once would make a card slow. */
  function wake() {
    if (opener) return;
    element.querySelector(".joint").appendChild(mark);
    opener = button("\u22ef", { "class": "opener", "aria-expanded": "false" }, element, toggle);
    box.addEventListener("change", function () {
      if (fold && box.checked) reason.value = "";
      write();
    });
    speak();
    show();
  }
  return {
    element: element, wake: wake, show: show, speak: speak,
    open: function (may) { box.disabled = !may; opener.disabled = !may; }
  };
}
