/* The parts of the page, each made from its text when it is wanted, and the stops of every walk. What
   is asked of all stops, such as which are done, comes from the data of the page. */
function Parts(text, card) {
  "use strict";
  var BEGIN = '<section class="', LEG = '<figure class="leg">';
  var record = card.record, whole = document.getElementById("whole"), rows = [];
  var parts = [], walks = [];

  function all(selector, inside) { return Array.from(inside.querySelectorAll(selector)); }
  function element(markup) {
    var holder = document.createElement("template");
    holder.innerHTML = markup;
    return document.importNode(holder.content, true).firstElementChild;
  }
  /* A part of a list that stands in the order of the page, in its place among those made before. */
  function make(list, part, into) {
    var behind = list.slice(list.indexOf(part) + 1).find(function (each) { return each.element; });
    part.element = element(part.text);
    into.insertBefore(part.element, behind ? behind.element : null);
    card.words.speak(part.element);
  }

  /* A fitting or a check: where it stands in the record, and what is told of it. */
  function mark(walk, letter, counts) {
    var check = letter === "c", n = counts[letter]++;
    function told() { return (check ? record.check(walk, n) : record.tick(walk, n)) !== null; }
    return {
      walk: walk, n: n, told: told,
      finish: function () {
        if (!told()) (check ? record.setCheck : record.setTick)(walk, n, { done: true });
      }
    };
  }
  function stopOf(data, markup, walk, counts) {
    return {
      data: data, walk: walk, text: markup, store: data.store, element: null, thumb: null,
      phases: data.phases.map(function (phase) {
        return {
          data: phase, call: phase.steps > 0, element: null, steps: [], rows: [],
          marks: phase.rows.split("").map(function (letter) { return mark(walk, letter, counts); })
        };
      })
    };
  }
  function begin(piece) {
    var walk = walks.length, way = card.round.ways[walk], part = { id: "", text: BEGIN + piece, element: null };
    if (piece.startsWith("stop")) {
      var list = walks[walk - 1].stops, data = card.round.ways[walk - 1].stops[list.length];
      list.push(stopOf(data, BEGIN + piece, walk - 1, walks[walk - 1].counts));
      return;
    }
    parts.push(part);
    if (piece.startsWith("walk")) {
      walks.push({ technician: way.technician, finish: way.finish, part: part, stops: [], counts: { f: 0, c: 0 } });
    } else part.id = / id="([^"]+)"/.exec(piece)[1];
  }
  text.split(BEGIN).slice(1).forEach(begin);

  function made_(part) {
    if (!part.element) {
      make(parts, part, whole);
      card.built(part);
    }
    return part.element;
  }
  function named(id) { return made_(parts.find(function (part) { return part.id === id; })); }
  function section(walk) { return made_(walks[walk].part); }

  /* The part of the page for a stop, with all that can be pressed in it. */
  function build(stop) {
    if (stop.element) return;
    make(walks[stop.walk].stops, stop, section(stop.walk));
    all(".phase", stop.element).forEach(function (part, at) { fill(stop.phases[at], part); });
    stop.pictures = all(".draw", stop.element);
    card.built(stop);
  }
  function fill(phase, part) {
    phase.element = part;
    phase.steps = all(phase.call ? ".steps li" : ".iso-step input", part);
    phase.rows = all(".row", part).map(function (found, k) { return Row(found, phase.marks[k], card); });
    rows = rows.concat(phase.rows);
  }
  /* The sketch of the way to a stop, made without the rest of it. */
  function sketch(stop) {
    var from = stop.thumb ? -1 : stop.text.indexOf(LEG);
    if (from >= 0) {
      from = stop.text.indexOf("<svg", from);
      stop.thumb = element(stop.text.slice(from, stop.text.indexOf("</svg>", from) + 6));
      stop.thumb.removeAttribute("width");
      stop.thumb.removeAttribute("height");
    }
    return stop.thumb;
  }
  function everything() {
    parts.forEach(made_);
    walks.forEach(function (walk) { walk.stops.forEach(build); });
  }
  return {
    walks: walks, build: build, section: section, named: named, sketch: sketch, everything: everything,
    map: function () { return named("map-part").querySelector(".map svg"); },
    rows: function () { return rows; }
  };
}
