/* A picture over the whole screen: pinch, drag, wheel, two keys; the map with one's own place. */
function Viewer(card) {
  var frame = document.getElementById("viewer"), say = card.words.say;
  var stage = null, picture = null, at = { x: 0, y: 0, scale: 1 }, fingers = {}, watch = null;
  var back = null, dot = null;

  function apply() {
    stage.style.transform = "translate(" + at.x + "px," + at.y + "px) scale(" + at.scale + ")";
  }
  function zoom(by, x, y) {
    var scale = Math.min(8, Math.max(at.least, at.scale * by));
    at.x = x - (x - at.x) * scale / at.scale;
    at.y = y - (y - at.y) * scale / at.scale;
    at.scale = scale;
    apply();
  }
  function down(event) {
    fingers[event.pointerId] = { x: event.clientX, y: event.clientY };
    frame.setPointerCapture(event.pointerId);
  }
  function move(event) {
    var finger = fingers[event.pointerId], ids = Object.keys(fingers);
    if (!finger) return;
    if (ids.length === 1) {
      at.x += event.clientX - finger.x;
      at.y += event.clientY - finger.y;
      apply();
    } else {
      var other = fingers[ids.filter(function (id) { return id !== String(event.pointerId); })[0]];
      var before = Math.hypot(finger.x - other.x, finger.y - other.y);
      var now = Math.hypot(event.clientX - other.x, event.clientY - other.y);
      if (before > 0) zoom(now / before, other.x, other.y);
    }
    finger.x = event.clientX;
    finger.y = event.clientY;
  }
  function up(event) { delete fingers[event.pointerId]; }

  /* A point of the picture in the middle of the screen, so many pixels for each of its own. */
  function lookAt(x, y, scale) {
    at.scale = scale;
    at.x = frame.clientWidth / 2 - x * scale;
    at.y = frame.clientHeight / 2 - y * scale;
    apply();
  }
  function open(svg, focus, located) {
    back = document.activeElement;
    frame.textContent = "";
    stage = made("div", "", { "class": "stage" }, frame);
    picture = svg.cloneNode(true);
    stage.appendChild(picture);
    var box = svg.viewBox.baseVal;
    frame.hidden = false;
    frame.setAttribute("aria-label", svg.getAttribute("aria-label"));
    at.least = Math.min(frame.clientWidth / box.width, frame.clientHeight / box.height, 1);
    if (focus) lookAt(focus.x - box.x, focus.y - box.y, focus.scale);
    else lookAt(box.width / 2, box.height / 2, at.least);
    var tools = made("div", "", { "class": "tools" }, frame);
    var middle = function () { return [frame.clientWidth / 2, frame.clientHeight / 2]; };
    button("\u2212", { "aria-label": say("farther") }, tools, function () {
      zoom(0.67, middle()[0], middle()[1]);
    });
    button("+", { "aria-label": say("closer") }, tools, function () {
      zoom(1.5, middle()[0], middle()[1]);
    });
    if (located && card.round.geo && navigator.geolocation) {
      button("\u25ce", { "aria-label": say("where_am_i") }, tools, locate);
    }
    made("p", "", { "class": "told", role: "status" }, tools);
    button(say("close"), { "class": "main" }, tools, close).focus();
  }
  function close() {
    frame.hidden = true;
    frame.textContent = "";
    if (watch !== null) navigator.geolocation.clearWatch(watch);
    watch = dot = null;
    if (back) back.focus();
  }
  function tell(text) { frame.querySelector(".told").textContent = text; }
  function locate() {
    if (watch !== null) return;
    watch = navigator.geolocation.watchPosition(function (fix) {
      var geo = card.round.geo, map = card.round.map;
      var u = fix.coords.longitude - geo.lon, v = fix.coords.latitude - geo.lat;
      var x_m = geo.x[0] + geo.x[1] * u + geo.x[2] * v, y_m = geo.y[0] + geo.y[1] * u + geo.y[2] * v;
      var x = map.x + map.scale * (x_m - map.left_m), y = map.y + map.scale * (map.top_m - y_m);
      var box = picture.viewBox.baseVal, radius = Math.max(6, fix.coords.accuracy * map.scale);
      if (x < 0 || y < 0 || x > box.width || y > box.height) { tell(say("outside")); return; }
      if (dot) dot.remove();
      var name = "http://www.w3.org/2000/svg";
      dot = picture.appendChild(document.createElementNS(name, "g"));
      [[radius, "near"], [6, "me"]].forEach(function (ring) {
        var circle = dot.appendChild(document.createElementNS(name, "circle"));
        circle.setAttribute("cx", x);
        circle.setAttribute("cy", y);
        circle.setAttribute("r", ring[0]);
        circle.setAttribute("class", ring[1]);
      });
      tell(say("accuracy", { m: Math.round(fix.coords.accuracy) }));
      lookAt(x - box.x, y - box.y, Math.max(at.scale, 2));
    }, function () { tell(say("no_position")); watch = null; }, { enableHighAccuracy: true });
  }
  frame.addEventListener("pointerdown", function (event) {
    if (!event.target.closest("button")) down(event);
  });
  frame.addEventListener("pointermove", move);
  ["pointerup", "pointercancel"].forEach(function (name) { frame.addEventListener(name, up); });
  frame.addEventListener("wheel", function (event) {
    event.preventDefault();
    zoom(event.deltaY < 0 ? 1.2 : 0.83, event.clientX, event.clientY);
  }, { passive: false });
  document.addEventListener("keydown", function (event) {
    if (event.key === "Escape" && !frame.hidden) close();
  });
  return { open: open };
}
