"use strict";
// The pages work without this. With it they refresh themselves and can share a location.
(function () {
  function typing() {
    var a = document.activeElement;
    return a && /^(INPUT|TEXTAREA|SELECT)$/.test(a.tagName) || document.querySelector("[data-adjust]:not([hidden])") ||
      Array.prototype.some.call(document.querySelectorAll("textarea,input:not([type=hidden])"), function (f) { return f.value; });
  }
  var main = document.querySelector("main[data-live]");
  if (main && window.EventSource) {
    new EventSource(main.dataset.live).addEventListener("changed", function () {
      if (typing()) return;
      fetch(location.pathname).then(function (r) { return r.text(); }).then(function (html) {
        var fresh = new DOMParser().parseFromString(html, "text/html").querySelector("main");
        if (fresh && !typing()) { main.innerHTML = fresh.innerHTML; locate(); }
      });
    });
  }
  function locate() {
    var form = document.querySelector("form[data-geo]");
    if (!form) return;
    var button = form.querySelector("[data-locate]"), said = form.querySelector("[data-said]");
    var box = form.querySelector("[data-adjust]"), svg = box.querySelector("svg"), mark = svg.querySelector(".here");
    if (!navigator.geolocation || !window.isSecureContext) { said.textContent = form.dataset.insecure; return; }
    button.hidden = false;
    var lat = 0, lon = 0, x = 0, y = 0;
    function put(nx, ny) {
      x = Math.max(-95, Math.min(95, nx)); y = Math.max(-95, Math.min(95, ny));
      mark.setAttribute("transform", "translate(" + x + " " + y + ")");
      form.elements.lat.value = (lat - y / 111200).toFixed(6);
      form.elements.lon.value = (lon + x / (111200 * Math.cos(lat * Math.PI / 180))).toFixed(6);
    }
    button.onclick = function () {
      said.textContent = form.dataset.locating;
      navigator.geolocation.getCurrentPosition(function (p) {
        lat = p.coords.latitude; lon = p.coords.longitude;
        form.elements.within.value = Math.round(p.coords.accuracy);
        svg.querySelector(".about").setAttribute("r", Math.min(95, p.coords.accuracy));
        said.textContent = ""; button.hidden = true; box.hidden = false; put(0, 0); svg.focus();
      }, function () { said.textContent = form.dataset.denied; }, { enableHighAccuracy: true, timeout: 15000 });
    };
    function there(e) {
      var r = svg.getBoundingClientRect();
      put((e.clientX - r.left) / r.width * 200 - 100, (e.clientY - r.top) / r.height * 200 - 100);
    }
    svg.onpointerdown = function (e) { svg.setPointerCapture(e.pointerId); there(e); };
    svg.onpointermove = function (e) { if (e.buttons) there(e); };
    svg.onkeydown = function (e) {
      var by = { ArrowLeft: [-5, 0], ArrowRight: [5, 0], ArrowUp: [0, -5], ArrowDown: [0, 5] }[e.key];
      if (by) { e.preventDefault(); put(x + by[0], y + by[1]); }
    };
  }
  locate();
})();
