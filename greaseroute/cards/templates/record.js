"use strict";
/* What was ticked on a card: its state on the phone, the file and the receipt made of it.
   Nothing here touches the page: whoever draws a card calls CardRecord.open(round, storage). */
var CardRecord = (function () {
  var DAY_MS = 86400000, MOST_H_A_DAY = 24, SLACK_H = 0.1;

  function hex(count) {
    var bytes = new Uint8Array(count);
    crypto.getRandomValues(bytes);
    return Array.from(bytes, function (b) { return b.toString(16).padStart(2, "0"); }).join("");
  }

  /* round: format, round (id), site, at, reasons, defects, walks [{technician, stops: [{unit,
     fittings: [{joint, fitting, strokes, grease, gun, put_in}], checks}]}], meters {unit: [h, at]}.
     storage: localStorage, or null. */
  function open(round, storage) {
    var store = "greaseroute 2 " + round.round;
    var state = { device: hex(2), ticks: {}, checks: {}, meters: {} };
    var held = 0; // more than 0: a change of several is under way, kept once at its end
    var saved = true;
    try {
      var old = storage.getItem(store);
      if (old) state = JSON.parse(old);
      storage.setItem(store, JSON.stringify(state));
    } catch (refused) {
      saved = false;
    }
    var walks = round.walks.map(flat);

    /* A walk with its fittings and checks in one row each, every one with the place of its stop. */
    function flat(walk) {
      var row = { technician: walk.technician, stops: walk.stops, fittings: [], checks: [] };
      walk.stops.forEach(function (stop, place) {
        stop.fittings.forEach(function (f) { row.fittings.push({ stop: place, of: f }); });
        stop.checks.forEach(function (name) { row.checks.push({ stop: place, name: name }); });
      });
      return row;
    }
    function keep() {
      if (!saved || held) return;
      try { storage.setItem(store, JSON.stringify(state)); } catch (full) { saved = false; }
    }
    function put(into, walk, n, told) {
      var key = walk + "." + n;
      if (!told) delete into[key];
      else into[key] = Object.assign({ id: hex(8), at: new Date().toISOString() }, told);
      keep();
    }
    function stopsTold(walk) {
      /* The last moment at which something was told of each stop, in ms; undefined if nothing. */
      var row = walks[walk], last = [];
      function seen(stop, at) { last[stop] = Math.max(last[stop] || -Infinity, Date.parse(at)); }
      row.fittings.forEach(function (f, n) {
        var tick = state.ticks[walk + "." + n];
        if (tick) seen(f.stop, tick.at);
      });
      row.checks.forEach(function (c, n) {
        var tick = state.checks[walk + "." + n];
        if (tick) seen(c.stop, tick.at);
      });
      row.stops.forEach(function (stop, place) {
        var meter = state.meters[stop.unit];
        if (meter && last[place] === undefined) seen(place, meter.at);
      });
      return last;
    }
    function entry(walk, place, tick) {
      var row = walks[walk];
      var told = { id: tick.id, at: tick.at, technician: row.technician, unit: row.stops[place].unit };
      if (tick.done !== null && tick.done !== undefined) told.done = tick.done;
      ["reason", "words", "defect", "found"].forEach(function (name) {
        if (tick[name]) told[name] = tick[name];
      });
      if (tick.took) told.uptake = "took too much";
      return told;
    }
    function events(walk) {
      var row = walks[walk], told = [];
      row.fittings.forEach(function (f, n) {
        var tick = state.ticks[walk + "." + n];
        if (!tick) return;
        var one = entry(walk, f.stop, tick);
        one.joint = f.of.joint;
        one.fitting = f.of.fitting;
        if (tick.done) {
          one.strokes = strokesOf(f, tick);
          one.planned_strokes = f.of.strokes;
          one.grease = f.of.grease;
          one.gun = f.of.gun;
          one.put_in = f.of.put_in;
        }
        told.push(one);
      });
      row.checks.forEach(function (c, n) {
        var tick = state.checks[walk + "." + n];
        if (!tick) return;
        var one = entry(walk, c.stop, tick);
        one.look = c.name;
        told.push(one);
      });
      return told;
    }
    function strokesOf(f, tick) {
      return tick.strokes === null || tick.strokes === undefined ? f.of.strokes : tick.strokes;
    }
    function meters(walk) {
      return walks[walk].stops.filter(function (stop) { return state.meters[stop.unit]; })
        .map(function (stop) {
          var m = state.meters[stop.unit];
          var told = { unit: stop.unit, meter_h: m.meter_h, at: m.at };
          if (m.sure) told.sure = true;
          return told;
        });
    }
    function report(walk) {
      return {
        format: round.format, round: round.round, site: round.site, planned_for: round.at,
        exported_at: new Date().toISOString(), technician: walks[walk].technician,
        device: state.device, events: events(walk), meters: meters(walk)
      };
    }
    function receipt(walk) {
      var row = walks[walk], begun = Date.parse(round.at), pack = Packer();
      function minute(ms) { return Math.floor((ms - begun) / 60000); }
      var ticked = row.fittings.map(function (f, n) {
        return fittingTold(f, state.ticks[walk + "." + n]);
      }).concat(row.checks.map(function (c, n) { return checkTold(state.checks[walk + "." + n]); }));
      pack.hex(round.round);
      pack.number(walk);
      pack.hex(state.device);
      pack.number(folded(minute(Date.now())));
      [row.fittings, row.checks, row.stops].forEach(function (each) { pack.number(each.length); });
      pack.states(ticked.map(function (t) { return t.state; }));
      var last = stopsTold(walk), before = 0;
      row.stops.forEach(function (stop, place) {
        if (last[place] === undefined) { pack.number(0); return; }
        var now = minute(last[place]);
        pack.number(1 + folded(now - before));
        before = now;
      });
      packExceptions(pack, ticked);
      packMeters(pack, row.stops);
      return "GR1" + base32(pack.withCheckSum()) + ".";
    }
    function fittingTold(f, tick) {
      if (!tick) return { state: 0 };
      var strokes = tick.done && strokesOf(f, tick) !== f.of.strokes ? strokesOf(f, tick) : null;
      var state_ = tick.done === false ? 3 : tick.done ? (strokes !== null || tick.took ? 2 : 1) : 0;
      return {
        state: state_, strokes: strokes, reason: tick.reason, defect: tick.defect,
        took: tick.took, words: tick.words, found: tick.found
      };
    }
    function checkTold(tick) {
      if (!tick) return { state: 0 };
      var state_ = tick.done === false ? 3 : tick.found ? 2 : 1;
      return { state: state_, strokes: null, reason: tick.reason, words: tick.words, found: tick.found };
    }
    function packExceptions(pack, ticked) {
      var places = [];
      ticked.forEach(function (t, place) {
        if (hasMore(t) || t.reason || t.defect || t.took) places.push(place);
      });
      pack.number(places.length);
      var before = 0;
      places.forEach(function (place) {
        var t = ticked[place], more = hasMore(t);
        pack.number(place - before);
        before = place;
        pack.byte(1 + round.reasons.indexOf(t.reason) + 8 * (1 + round.defects.indexOf(t.defect)) +
          (t.took ? 64 : 0) + (more ? 128 : 0));
        if (!more) return;
        pack.number(t.strokes === null || t.strokes === undefined ? 0 : 1 + t.strokes);
        pack.text(t.words || "");
        pack.text(t.found || "");
      });
    }
    function hasMore(t) {
      return (t.strokes !== null && t.strokes !== undefined) || !!t.words || !!t.found;
    }
    function packMeters(pack, stops) {
      var read = [];
      stops.forEach(function (stop, place) { if (state.meters[stop.unit]) read.push(place); });
      pack.number(read.length);
      var before = 0;
      read.forEach(function (place) {
        var m = state.meters[stops[place].unit];
        pack.number(place - before);
        before = place;
        pack.number(2 * Math.round(10 * m.meter_h) + (m.sure ? 1 : 0));
      });
    }
    /* Several changes as one, kept once; gives a function that takes them back. */
    function change(make) {
      var before = JSON.stringify(state);
      held += 1;
      try { make(); } finally { held -= 1; }
      keep();
      return function () {
        state = JSON.parse(before);
        keep();
      };
    }
    /* Why a figure is unlikely, or null: it fell, or rose by more than 24 h a day. */
    function meterDoubt(unit, meter_h, now) {
      var known = round.meters[unit];
      if (!known) return null;
      if (meter_h < known[0] - SLACK_H) return { why: "fell", h: known[0] };
      if (!known[1]) return null;
      var days = ((now || Date.now()) - Date.parse(known[1])) / DAY_MS;
      var most = known[0] + MOST_H_A_DAY * Math.max(0, days) + SLACK_H;
      if (meter_h <= most) return null;
      return { why: "rose", h: known[0], day: known[1].slice(0, 10) };
    }
    function safe(text) {
      return text.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, "-").replace(/^-+|-+$/g, "");
    }
    return {
      walks: walks,
      saved: function () { return saved; },
      tick: function (walk, n) { return state.ticks[walk + "." + n] || null; },
      setTick: function (walk, n, told) { put(state.ticks, walk, n, told); },
      check: function (walk, n) { return state.checks[walk + "." + n] || null; },
      setCheck: function (walk, n, told) { put(state.checks, walk, n, told); },
      meter: function (unit) { return state.meters[unit] || null; },
      setMeter: function (unit, meter_h, sure) {
        if (meter_h === null) delete state.meters[unit];
        else state.meters[unit] = { meter_h: meter_h, at: new Date().toISOString(), sure: !!sure };
        keep();
      },
      meterDoubt: meterDoubt,
      change: change,
      /* What the page itself keeps, such as the stop under way: any name, any value of JSON. */
      noted: function (name) { return (state.notes || {})[name]; },
      note: function (name, value) {
        state.notes = state.notes || {};
        if (value === undefined || value === null) delete state.notes[name];
        else state.notes[name] = value;
        keep();
      },
      told: function (walk) {
        var count = 0;
        Object.keys(state.ticks).concat(Object.keys(state.checks)).forEach(function (key) {
          if (Number(key.split(".")[0]) === walk) count += 1;
        });
        return count;
      },
      report: report,
      receipt: receipt,
      fileName: function (walk) {
        return ["card", safe(walks[walk].technician), round.at.slice(0, 10), round.round.slice(0, 8)]
          .filter(Boolean).join("-") + ".json";
      }
    };
  }

  function folded(value) { return value < 0 ? -2 * value - 1 : 2 * value; }

  function Packer() {
    var data = [];
    var pack = {
      byte: function (value) { data.push(value); },
      hex: function (text) {
        for (var k = 0; k < text.length; k += 2) data.push(parseInt(text.slice(k, k + 2), 16));
      },
      number: function (value) {
        while (value > 127) { data.push(128 + value % 128); value = Math.floor(value / 128); }
        data.push(value);
      },
      text: function (words) {
        var bytes = Array.from(new TextEncoder().encode(words));
        pack.number(bytes.length);
        data = data.concat(bytes);
      },
      states: function (row) {
        for (var k = 0; k < row.length; k += 4) {
          var four = 0;
          for (var place = 0; place < 4 && k + place < row.length; place += 1) {
            four += row[k + place] << 2 * place;
          }
          data.push(four);
        }
      },
      withCheckSum: function () {
        var sum = crc32(data);
        return data.concat([sum >>> 24, sum >>> 16 & 255, sum >>> 8 & 255, sum & 255]);
      }
    };
    return pack;
  }

  function crc32(data) {
    var sum = -1;
    data.forEach(function (byte) {
      sum ^= byte;
      for (var bit = 0; bit < 8; bit += 1) sum = sum >>> 1 ^ (sum & 1 ? 0xEDB88320 : 0);
    });
    return ~sum >>> 0;
  }

  function base32(data) {
    var letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567", text = "", held = 0, bits = 0;
    data.forEach(function (byte) {
      held = held << 8 | byte;
      bits += 8;
      while (bits >= 5) {
        bits -= 5;
        text += letters[held >>> bits & 31];
      }
      held &= (1 << bits) - 1;
    });
    return bits ? text + letters[held << 5 - bits & 31] : text;
  }

  return { open: open, crc32: crc32, base32: base32 };
})();
