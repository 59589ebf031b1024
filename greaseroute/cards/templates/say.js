/* The fixed words of the card in the language chosen, ``first``; it was written in ``written``. */
function Words(all, names, written, first) {
  var english = new WeakMap(), now = all[first] ? first : Object.keys(all)[0];

  function say(key, values) {
    var text = all[now][key];
    if (text === undefined) text = all.en[key];
    if (text === undefined) return key;
    if (Array.isArray(text)) text = text[values.n === 1 || values.n === "1" ? 0 : 1];
    return text.replace(/\{(\w+)\}/g, function (_, name) { return values[name]; });
  }
  function named(text) { return (names[now] || {})[text] || text; }
  /* What stands in a part of the page, said in the language chosen. */
  function speak(part) {
    part.querySelectorAll("[data-n]").forEach(function (span) {
      if (!english.has(span)) english.set(span, span.dataset.n || span.textContent);
      var text = named(english.get(span));
      if (span.textContent !== text) span.textContent = text;
    });
    part.querySelectorAll("[data-w]").forEach(function (span) {
      var values = {};
      Object.keys(span.dataset).forEach(function (name) {
        if (name !== "w") values[name.slice(1).toLowerCase()] = span.dataset[name];
      });
      if (values.direction) values.direction = say("direction." + values.direction, {});
      span.textContent = say(span.dataset.w, values);
    });
  }
  return {
    say: say,
    /* A word that is kept in English, such as a reason: its own text, or itself. */
    name: function (word) { return all[now]["word." + word] || word; },
    /* A name or sentence of the plan, from its English. */
    named: named,
    code: function () { return now; },
    codes: Object.keys(all),
    title: function (code) { return all[code].language; },
    /* A part made later is said anew only where the page is not in the language it was written in. */
    speak: function (part) { if (now !== written) speak(part); },
    choose: function (code) {
      if (all[code]) now = code;
      document.documentElement.lang = now;
      speak(document);
    }
  };
}

/* One element: tag, its text or null, its attributes, where it goes. */
function made(tag, text, attributes, into) {
  var element = document.createElement(tag);
  if (text) element.textContent = text;
  Object.keys(attributes || {}).forEach(function (name) {
    element.setAttribute(name, attributes[name]);
  });
  if (into) into.appendChild(element);
  return element;
}
function button(text, attributes, into, pressed) {
  var element = made("button", text, attributes, into);
  element.type = "button";
  element.addEventListener("click", pressed);
  return element;
}
