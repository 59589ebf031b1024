/* The card: one place on the screen at a time, Now and Next above, what is pressed below. ``text`` is
   that of all its parts. */
function Card(text) {
  "use strict";
  var round = JSON.parse(document.getElementById("round").textContent);
  var storage = null;
  try { storage = window.localStorage; } catch (refused) { storage = null; }
  var record = CardRecord.open(round, storage);
  var words = Words(round.words, JSON.parse(document.getElementById("names").textContent),
    round.language, record.noted("language") || round.language);
  var say = words.say, head = document.getElementById("head"), bar = document.getElementById("bar");
  var card = { record: record, round: round, words: words, changed: changed, unitOf: unitOf, built: built };
  var viewer = Viewer(card), parts = Parts(text, card), walks = parts.walks;
  var takeBack = null, message = "";
  var now = { screen: "stop", walk: 0, stop: 0, phase: null };
  var STEPS_A_PRESS = round.tick_isolation ? 1 : 3;
  var TOO_FAR_MIN = 300; // a clock further off than this is not that of the round

  function all(selector, inside) {
    return Array.from((inside || document).querySelectorAll(selector));
  }
  function unitOf(element) { return element.closest(".stop").dataset.unit; }
  function time(iso) { return iso.slice(11, 16); }

  /* What is kept of a stop: that its first screen is done, and how many steps of its calls are. */
  function key(stop, name) { return name + " " + stop.data.label + stop.data.arrive; }
  /* What is pressed on the first screen before all else: "" where nothing is. A unit that is moved
     before anything is done on it is isolated by the last steps of that. */
  function gate(stop) {
    return stop.store ? "filled" : stop.data.moved_first ? "moved first"
      : stop.data.isolation ? "isolated" : "";
  }
  function begun(stop) { return !gate(stop) || !!record.noted(key(stop, gate(stop))); }
  /* Steps of its isolation that are ticked, in their order, where the site asks for each. */
  function stepsTicked(stop) { return record.noted(key(stop, "isolation")) || 0; }
  function stepsOpen(stop) {
    return round.tick_isolation && !stop.store && stepsTicked(stop) < stop.data.isolation;
  }
  function stepsDone(stop, phase) {
    return record.noted(key(stop, "steps " + phase.data.letter)) || 0;
  }
  function callDone(stop, phase) { return stepsDone(stop, phase) >= phase.data.steps; }
  function done(stop, phase) {
    if (phase === stop.phases[0]) return begun(stop);
    return callDone(stop, phase) && !untold(phase.marks).length;
  }
  function openPhase(stop) {
    var at = stop.phases.findIndex(function (phase) { return !done(stop, phase); });
    return at < 0 ? null : at;
  }
  function marksOf(stop) {
    return [].concat.apply([], stop.phases.map(function (phase) { return phase.marks; }));
  }
  function untold(list) { return list.filter(function (mark) { return !mark.told(); }); }
  /* A stop counts as done when everything of it is told, also where it was not isolated. */
  function over(stop) {
    var list = marksOf(stop);
    return list.length ? !untold(list).length && openPhase(stop) === null : begun(stop);
  }
  function nextStop(walk, from) {
    var list = walks[walk].stops;
    for (var k = from; k < list.length; k += 1) if (!over(list[k])) return k;
    return null;
  }
  /* Phases of a stop that may be ticked now: isolated, and no call before them still open. */
  function allowed(stop, at) {
    if (!begun(stop)) return "first";
    var before = stop.phases.slice(0, at + 1).some(function (phase) {
      return phase.call && !callDone(stop, phase);
    });
    return before ? "call" : "";
  }
  /* What is untold up to the next call, as one press may finish them. */
  function reachable(stop) {
    var list = [], open = true;
    stop.phases.forEach(function (phase) {
      if (phase.call && !callDone(stop, phase)) open = false;
      if (open) list = list.concat(untold(phase.marks));
    });
    return list;
  }

  function undoable(text, make) {
    takeBack = record.change(make);
    message = text;
  }
  /* How many steps of a call are done after the next press: up to three, the last by itself. */
  function stepsThen(stop, phase) {
    var k = stepsDone(stop, phase), n = phase.data.steps;
    return k < n - 1 ? Math.min(k + STEPS_A_PRESS, n - 1) : n;
  }
  function step(stop, phase) {
    undoable(say("toast_step", { unit: stop.data.unit }), function () {
      record.note(key(stop, "steps " + phase.data.letter), stepsThen(stop, phase));
    });
  }
  function begin(stop) {
    var told = { "filled": "toast_bag", "moved first": "not_clear" }[gate(stop)] || "toast_isolated";
    undoable(say(told, { unit: stop.data.unit }), function () {
      record.note(key(stop, gate(stop)), new Date().toISOString());
    });
  }
  function finish(stop, list, letter) {
    var text = letter ? say("toast_place", { unit: stop.data.unit, letter: letter })
      : say("toast_machine", { unit: stop.data.unit });
    undoable(text, function () { list.forEach(function (mark) { mark.finish(); }); });
    stop.phases.forEach(function (phase) { phase.rows.forEach(function (row) { row.show(); }); });
  }
  function tickStep(stop, count_) {
    undoable(say("toast_step", { unit: stop.data.unit }), function () {
      record.note(key(stop, "isolation"), count_);
    });
    now.undoTo = now.stop;
    stepsMay(stop);
    renderBar();
  }
  /* They are ticked in their order, and the last one ticked may be taken back. */
  function stepsMay(stop) {
    var ticked = stepsTicked(stop), over_ = begun(stop);
    stop.phases[0].steps.forEach(function (box, k) {
      box.checked = k < ticked || over_;
      box.disabled = over_ || (k !== ticked && k !== ticked - 1);
    });
  }
  function undo() {
    var back = takeBack;
    if (!back) return; // pressed in the moment in which it goes
    takeBack = null;
    message = say("undone");
    back();
    parts.rows().forEach(function (row) { row.show(); });
    now.phase = null;
    now.stop = now.undoTo;
    show();
  }
  /* After something was pressed: the next open place, or the next stop where nothing is open. */
  function goOn() {
    now.undoTo = now.stop;
    now.phase = null;
    var stop = walks[now.walk].stops[now.stop];
    if (over(stop)) {
      var next = nextStop(now.walk, now.stop + 1);
      if (next === null) next = nextStop(now.walk, 0);
      if (next === null) now.screen = "export";
      else now.stop = next;
    }
    show(true);
  }
  function changed(element) {
    takeBack = null;
    message = "";
    parts.rows().forEach(function (row) { if (row.element === element) row.show(); });
    afterPaint(function () { renderBar(); renderChips(); count(); }); // a tick is seen at once
  }
  function go(stop) {
    now = { screen: "stop", walk: now.walk, stop: stop, phase: null, undoTo: stop };
    takeBack = null;
    message = "";
    show(true);
  }
  function choose(walk) {
    now.walk = walk;
    record.note("walk", walk);
    var next = nextStop(walk, 0);
    now.screen = next === null ? "export" : "stop";
    now.stop = next || 0;
    now.phase = null;
    message = "";
    takeBack = null;
    show(true);
  }
  function turn(screen) {
    now.screen = screen;
    message = "";
    takeBack = null;
    show(true);
  }

  /* The part of a drawing that belongs to a place, from the whole one of its stop. */
  function cut(stop, phase) {
    var into = phase.element.querySelector(".cut");
    if (!into || into.childNodes.length) return;
    var block = stop.pictures[Number(phase.element.dataset.draw)];
    ["top", "side"].forEach(function (name) {
      var whole = block.querySelector("." + name + " svg"), part = whole.cloneNode(true);
      var box = phase.element.dataset[name];
      part.setAttribute("viewBox", box);
      part.removeAttribute("width");
      part.removeAttribute("height");
      var text = say(name + "_view"), size = box.split(" ").map(Number);
      var picture = button("", { "class": size[2] > 240 ? "picture wide" : "picture",
        "aria-label": text + ": " + say("whole_drawing") }, into, function () { viewer.open(whole); });
      picture.appendChild(part);
    });
  }

  function show(top) {
    all(".shown").forEach(function (element) { element.classList.remove("shown"); });
    function on(element) { element.classList.add("shown"); }
    if (now.screen === "stop") {
      var stop = walks[now.walk].stops[now.stop], at = openPhase(stop);
      if (now.phase === null) now.phase = at === null ? stop.phases.length - 1 : at;
      var phase = stop.phases[now.phase];
      parts.build(stop);
      [parts.section(now.walk), stop.element, phase.element].forEach(on);
      cut(stop, phase);
      if (phase.call) phase.steps.forEach(function (li, k) {
        var count_ = stepsDone(stop, phase);
        li.className = k < count_ ? "past" : k < stepsThen(stop, phase) ? "current" : "";
      });
      rowsMay(stop);
      stepsMay(stop);
      whenIdle(buildNext);
    } else if (now.screen === "start") {
      on(parts.named("start"));
      renderWho();
    } else if (now.screen === "list") {
      on(parts.named("list"));
      on(parts.named("end"));
      renderList();
    } else on(parts.named("export"));
    renderHead();
    renderBar();
    count();
    if (!top) return;
    window.scrollTo(0, 0);
    var current = document.querySelector(".phase.shown .current");
    if (current) current.scrollIntoView({ block: "nearest" });
  }
  function afterPaint(make) { requestAnimationFrame(function () { setTimeout(make, 0); }); }
  function whenIdle(make) {
    if (window.requestIdleCallback) window.requestIdleCallback(make);
    else setTimeout(make, 200);
  }
  function buildNext() {
    var next = nextStop(now.walk, now.stop + 1);
    if (now.screen === "stop" && next !== null) parts.build(walks[now.walk].stops[next]);
  }
  function rowsMay(stop) {
    stop.phases.forEach(function (phase, at) {
      var why = allowed(stop, at);
      phase.rows.forEach(function (row) { row.open(!why); });
    });
  }

  function minutesLate(stop) {
    var list = marksOf(stop), begin = Date.parse(stop.data.arrive), end = Date.parse(stop.data.leave);
    var share = list.length ? 1 - untold(list).length / list.length : 0;
    return Math.round((Date.now() - begin - share * (end - begin)) / 60000);
  }
  function timeTold(stop) {
    var late = minutesLate(stop);
    var plan = time(stop.data.arrive) + "\u2013" + time(stop.data.leave);
    if (Math.abs(late) > TOO_FAR_MIN) return plan;
    return plan + " \u00b7 " + (Math.abs(late) < 2 ? say("on_time")
      : say(late > 0 ? "late" : "early", { n: Math.abs(late) }));
  }
  function named(stop, into, kind) {
    if (stop.store) made(kind || "b", say("to_store", { place: stop.data.unit }), {}, into);
    else {
      made("span", stop.data.label, { "class": "disc" }, into);
      made(kind || "b", stop.data.unit, {}, into);
    }
  }
  function titled(stop, into) { made("span", words.named(stop.data.title), { "class": "title" }, into); }
  function arrow(stop, into) {
    if (!stop.data.way) { made("span", say("here"), { "class": "way" }, into); return; }
    var span = made("span", "", { "class": "way" }, into);
    var pointer = made("i", "\u2191", { "class": "arrow", "aria-hidden": "true" }, span);
    pointer.style.transform = "rotate(" + stop.data.bearing + "deg)";
    made("span", say("way", { m: stop.data.m, direction: say("direction." + stop.data.way) }), {}, span);
    stop.data.mind.forEach(function (item) {
      made("b", say(item[0], item[1]), { "class": "minded" }, span);
    });
  }
  function line(kind, stop, last) {
    var row = made("div", "", { "class": kind }, head), text = made("div", "", {}, row);
    made("small", say(kind), { "class": "word" }, text);
    if (!stop) {
      made("b", say("last_stop", { place: walks[now.walk].finish || "\u2013" }), {}, text);
      return;
    }
    named(stop, text, last ? "h1" : "b");
    if (last) {
      titled(stop, text);
      made("span", timeTold(stop), { "class": "time" }, text);
    } else {
      arrow(stop, text);
      titled(stop, text);
    }
    var sketch = last ? null : parts.sketch(stop);
    if (sketch) made("div", "", { "class": "thumb" }, row).appendChild(sketch);
  }
  function renderHead() {
    head.textContent = "";
    head.hidden = now.screen !== "stop";
    if (head.hidden) return;
    var list = walks[now.walk].stops, stop = list[now.stop], next = nextStop(now.walk, now.stop + 1);
    line("now", stop, true);
    line("next", next === null ? null : list[next]);
    made("div", "", { "class": "chips" }, head);
    renderChips();
  }
  function renderChips() {
    var chips = head.querySelector(".chips"), stop = walks[now.walk].stops[now.stop];
    if (!chips) return;
    chips.textContent = "";
    stop.phases.forEach(function (phase, at) {
      var letter = phase.data.letter;
      if (at === 0 && !gate(stop) && stop.phases.length > 1) return;
      var state = (done(stop, phase) ? " over" : "") + (at === now.phase ? " here" : "");
      made("span", letter || (stop.data.moved_first ? "\u2192" : say("lock")), { "class": "chip" + state, "aria-hidden": "true" }, chips);
    });
  }

  function main(text, pressed, kind) {
    return button(text, { "class": "main" + (kind ? " " + kind : "") }, bar.lastChild, pressed);
  }
  function renderBar() {
    bar.textContent = "";
    if (message) {
      made("div", message, { "class": "toast", role: "status" }, bar);
    }
    made("div", "", { "class": "keys" }, bar);
    if (now.screen === "stop") stopKeys();
    else if (now.screen !== "start" || walks.length === 1) {
      main(say("next") + ": " + (nextStop(now.walk, 0) === null ? say("hand_in")
        : walks[now.walk].stops[nextStop(now.walk, 0)].data.unit), function () { choose(now.walk); });
    }
    made("div", "", { "class": "keys" }, bar);
    if (takeBack) button(say("undo"), { "class": "undo" }, bar.lastChild, undo);
    if (now.screen === "stop") wholeKey();
    var tools = bar.lastChild;
    button(say("map"), { "class": "tool map-key" }, tools, function () { viewer.open(parts.map(), focus(), true); });
    if (now.screen !== "list") button(say("list"), { "class": "tool list-key" }, tools, function () { turn("list"); });
  }
  function stopKeys() {
    var list = walks[now.walk].stops, stop = list[now.stop], phase = stop.phases[now.phase];
    var why = allowed(stop, now.phase);
    button("\u2039", { "class": "side", "aria-label": say("back") }, bar.lastChild, function () {
      if (now.phase > 0) { now.phase -= 1; show(true); } else if (now.stop > 0) go(now.stop - 1);
    });
    mainKey(stop, phase, why);
    button("\u203a", { "class": "side", "aria-label": say("forward") }, bar.lastChild, function () {
      if (now.phase < stop.phases.length - 1) { now.phase += 1; show(true); }
      else if (now.stop < list.length - 1) go(now.stop + 1);
      else turn("export");
    });
  }
  function mainKey(stop, phase, why) {
    if (why === "first" && now.phase > 0) {
      made("p", say(stop.data.moved_first ? "not_clear" : "not_isolated", { unit: stop.data.unit }),
        { "class": "why" }, bar.lastChild);
    } else if (why === "first") beginKey(stop);
     else if (phase.call && !callDone(stop, phase)) {
      var k = stepsDone(stop, phase), then = stepsThen(stop, phase), n = phase.data.steps;
      var again = then === n && phase.data.again;
      var sure = stop.data.moved_first && phase === stop.phases[1] ? "isolated" : "isolated_again";
      main(again ? say(sure) : k + 1 === then ? say("step_done", { k: then, n: n })
        : say("steps_done", { from: k + 1, to: then, n: n }),
        function () { step(stop, phase); goOn(); }, again ? "isolate" : "");
    } else if (why === "call") {
      made("p", say("call_first"), { "class": "why" }, bar.lastChild);
    } else if (untold(phase.marks).length) {
      var left = untold(phase.marks), letter = phase.data.letter;
      main(say("place_done", { n: left.length, letter: letter }), function () {
        finish(stop, left, letter);
        goOn();
      }, "place-key");
    } else {
      main(say("go_on"), goOn);
    }
  }
  function beginKey(stop) {
    var open = stepsOpen(stop), told = { done: stepsTicked(stop), all: stop.data.isolation };
    var text = open ? say("tick_steps", told)
      : say({ "filled": "bag_filled", "moved first": "standing_clear" }[gate(stop)] || "isolated");
    main(text, function () { begin(stop); goOn(); }, gate(stop) === "isolated" ? "isolate" : "")
      .disabled = open;
  }
  function wholeKey() {
    var stop = walks[now.walk].stops[now.stop], list = begun(stop) ? reachable(stop) : [];
    if (!list.length) return;
    var part = list.length < untold(marksOf(stop)).length;
    button(say(part ? "part_done" : "machine_done", { n: list.length }), { "class": "tool whole" },
      bar.lastChild, function () { finish(stop, list, ""); goOn(); });
  }
  function focus() {
    var stop = walks[now.walk].stops[now.stop], label = stop.data.label;
    var text = all(".gm-no", parts.map()).find(function (t) { return t.textContent === label; });
    return text ? { x: Number(text.getAttribute("x")), y: Number(text.getAttribute("y")), scale: 1.6 } : null;
  }

  function renderWho() {
    var into = document.getElementById("who");
    into.textContent = "";
    if (walks.length < 2) return;
    made("h2", say("who"), {}, into);
    walks.forEach(function (walk, n) {
      var next = nextStop(n, 0), stop = next === null ? null : walk.stops[next];
      var key_ = button("", { "class": "who" }, into, function () { choose(n); });
      made("b", walk.technician, {}, key_);
      if (!stop) return;
      made("span", say("who_first", { unit: stop.data.unit + " " + words.named(stop.data.title) }), {}, key_);
      var way = made("span", "", {}, key_);
      arrow(stop, way);
    });
  }
  function renderList() {
    var into = document.getElementById("list"), walk = walks[now.walk];
    into.textContent = "";
    made("h1", walk.technician, {}, into);
    made("p", "", { id: "count" }, into);
    made("p", "", { id: "kept" }, into);
    walk.stops.forEach(function (stop, k) {
      var item = button("", { "class": "to-stop" + (over(stop) ? " over" : "") }, into, function () { go(k); });
      var name = made("span", "", {}, item);
      named(stop, name);
      made("span", " ", {}, name);
      titled(stop, name);
      var list = marksOf(stop);
      made("span", time(stop.data.arrive) + " \u00b7 " + (over(stop) ? say("state_done")
        : list.length - untold(list).length + "/" + list.length), { "class": "state" }, item);
    });
    var more = made("p", "", { "class": "more" }, into);
    button(say("before_start"), {}, more, function () { turn("start"); });
    button(say("hand_in"), { "class": "hand-key" }, more, function () { turn("export"); });
    if (walks.length > 1) button(say("other_round"), {}, more, function () { turn("start"); });
    chooser(say("speech"), words.codes, words.code(), words.title, function (code) {
      record.note("language", code);
      words.choose(code);
      parts.rows().forEach(function (row) { row.speak(); row.show(); });
      all(".cut").forEach(function (part) { part.textContent = ""; });
      show();
    }, into);
    chooser(say("scheme"), ["auto", "light", "dark"], record.noted("scheme") || "auto",
      function (name) { return say("scheme_" + name); },
      function (name) { record.note("scheme", name); shade(); }, into);
  }
  function chooser(label, values, value, title, chosen, into) {
    if (values.length < 2) return;
    var line_ = made("label", label + " ", { "class": "choose" }, into);
    var select = made("select", "", {}, line_);
    values.forEach(function (each) { made("option", title(each), { value: each }, select); });
    select.value = value;
    select.addEventListener("change", function () { chosen(select.value); });
  }
  /* Dark where the phone says so, and at night by the phone's clock. */
  function shade() {
    var asked = record.noted("scheme") || "auto", hour = new Date().getHours();
    var night = hour < 6 || hour >= 20;
    var dark = asked === "dark" || (asked === "auto" &&
      (night || window.matchMedia("(prefers-color-scheme: dark)").matches));
    document.documentElement.classList.toggle("dark", dark);
  }

  function count() {
    var total = 0, told = 0;
    record.walks.forEach(function (row, walk) {
      var all_ = row.fittings.length + row.checks.length;
      total += all_;
      told += record.told(walk);
      var part = all(".hand-in")[walk];
      if (!part) return;
      part.querySelector(".told").textContent = say("told_of", { done: record.told(walk), all: all_ });
      if (part.open) handOver(part, walk);
    });
    var counted = document.getElementById("count"), kept = document.getElementById("kept");
    if (counted) counted.textContent = say("told_of", { done: told, all: total });
    if (kept) {
      kept.textContent = say(record.saved() ? "kept" : "not_kept");
      kept.className = record.saved() ? "" : "lost";
    }
    var lost = head.querySelector(".lost");
    if (!record.saved() && !lost) made("p", say("not_kept"), { "class": "lost" }, head);
  }
  function handOver(part, walk) {
    var receipt = record.receipt(walk);
    part.querySelector(".receipt").value = receipt;
    part.querySelector(".code").innerHTML = QrCode.svg(receipt);
  }
  function handIn(part, walk) {
    part.addEventListener("toggle", function () { if (part.open) handOver(part, walk); });
    part.querySelector(".save").addEventListener("click", function () {
      var text = JSON.stringify(record.report(walk), null, 1);
      var link = made("a", "", {}, document.body);
      link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
      link.download = record.fileName(walk);
      link.click();
      link.remove();
      setTimeout(function () { URL.revokeObjectURL(link.href); }, 10000);
    });
  }

  /* A part of the page that was made just now, of a stop or another: what can be pressed in it. */
  function built(part) {
    all(".hand-in", part.element).forEach(handIn);
    all("[data-meter]", part.element).forEach(meterField);
    if (!part.phases) return;
    part.phases.forEach(function (phase) { phase.rows.forEach(function (row) { row.wake(); }); });
    part.phases[0].steps.forEach(function (box, k) {
      box.addEventListener("change", function () { tickStep(part, box.checked ? k + 1 : k); });
    });
  }
  function meterField(field) {
    var unit = field.dataset.meter, line_ = field.closest(".meter");
    var ask = made("span", "", { "class": "doubt" }, line_);
    var yes = button(say("meter_sure"), { "aria-label": say("meter_sure_label") }, line_, function () { set(true); });
    field.setAttribute("aria-label", say("meter_of", { unit: unit }));
    function set(sure) {
      var empty = field.value === "" || !field.checkValidity();
      var meter_h = empty ? null : Number(field.value);
      var doubt = empty ? null : record.meterDoubt(unit, meter_h);
      ask.textContent = doubt && !sure
        ? say("meter_ask", { doubt: say("doubt_" + doubt.why, doubt), h: meter_h }) : "";
      yes.hidden = !doubt || sure;
      record.setMeter(unit, doubt && !sure ? null : meter_h, !!doubt && sure);
      count();
    }
    var known = record.meter(unit);
    if (known) field.value = known.meter_h;
    yes.hidden = true;
    field.addEventListener("change", function () { set(false); });
  }

  function swipes(main_) {
    var from = null;
    main_.addEventListener("touchstart", function (event) {
      from = event.touches.length === 1 ? event.touches[0] : null;
    }, { passive: true });
    main_.addEventListener("touchend", function (event) {
      var to = event.changedTouches[0];
      if (!from || now.screen !== "stop") return;
      var across = to.clientX - from.clientX, down = to.clientY - from.clientY;
      from = null;
      if (Math.abs(across) < 90 || Math.abs(down) > 40) return;
      var stop = now.stop + (across < 0 ? 1 : -1);
      if (stop >= 0 && stop < walks[now.walk].stops.length) go(stop);
    }, { passive: true });
  }

  /* A label on a machine names its unit after the mark #unit= of the card's address. */
  function asked() {
    var match = /[#&]unit=([^&]+)/.exec(location.hash), unit = match && decodeURIComponent(match[1]);
    walks.forEach(function (walk, n) {
      walk.stops.forEach(function (stop, k) {
        if (unit && stop.data.unit === unit && !stop.store) { now.walk = n; go(k); unit = null; }
      });
    });
    return !!match && unit === null;
  }

  bar.hidden = false;
  if (words.code() !== document.documentElement.lang) words.choose(words.code());
  shade();
  swipes(document.querySelector("main"));
  window.addEventListener("beforeprint", parts.everything);
  window.matchMedia("print").addEventListener("change", function (media) {
    if (media.matches) parts.everything();
  });
  window.addEventListener("hashchange", asked);
  if (!asked()) {
    if (walks.length === 1) choose(0);
    else if (record.noted("walk") !== undefined) choose(record.noted("walk"));
    else turn("start");
  }
  setInterval(function () { renderHead(); shade(); }, 30000);
  document.addEventListener("visibilitychange", function () {
    if (!document.hidden) { renderHead(); shade(); }
  });
}
