/* The page is opened. The full text follows below this script; an element takes it in as text, up to
   the next end of a script, so that the browser makes no elements of it: that takes a phone seconds.
   Where no script runs, or this one fails, it is the page. */
(function () {
  "use strict";
  var root = document.documentElement;
  if (document.readyState === "loading") document.write('<script type="text/plain" id="text">');
  root.classList.add("live");

  document.addEventListener("DOMContentLoaded", function () {
    var whole = document.getElementById("whole"), held = document.getElementById("text");
    if (!held) whole.querySelector("script").remove();
    var text = held ? held.textContent : whole.innerHTML;
    // Script and text stay: a browser that saves the page as it stands then saves the whole card. In
    // such a copy there are parts that were made before.
    Array.from(whole.childNodes).forEach(function (part) {
      if (!held || part.nodeName !== "SCRIPT") part.remove();
    });
    try {
      Card(text);
    } catch (fault) {
      root.classList.remove("live");
      whole.innerHTML = text;
      throw fault;
    }
  });
})();
