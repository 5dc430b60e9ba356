"use strict";
// Plays the recorded steps one after the other. Without this one steps by hand.
(function () {
  var frames = document.querySelectorAll(".frame"), timer = 0, buttons = document.querySelectorAll("[data-play]");
  function now() { return Math.max(0, parseInt(location.hash.slice(2), 10) || 0); }
  function go(n) { if (n >= 0 && n < frames.length) location.replace("#s" + n); }
  function label() { buttons.forEach(function (b) { b.setAttribute("aria-pressed", String(!!timer)); b.classList.toggle("on", !!timer); }); }
  function stop() { clearTimeout(timer); timer = 0; label(); }
  function play(first) {
    timer = setTimeout(function () {
      if (now() + 1 >= frames.length) { stop(); return; }
      go(now() + 1); play(1500);
    }, first);
    label();
  }
  buttons.forEach(function (b) { b.hidden = false; b.onclick = function () { if (timer) stop(); else { if (now() + 1 >= frames.length) go(0); play(400); } }; });
  document.querySelectorAll("[data-back],[data-on]").forEach(function (a) { a.addEventListener("click", stop); });
  addEventListener("keydown", function (e) {
    if (e.target.closest("input,textarea,.screen")) return;
    if (e.key === "ArrowRight") { stop(); go(now() + 1); }
    if (e.key === "ArrowLeft") { stop(); go(now() - 1); }
  });
  if (!location.hash && !matchMedia("(prefers-reduced-motion: reduce)").matches) play(600);
})();
