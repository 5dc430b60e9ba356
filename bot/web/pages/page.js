"use strict";
// The pages work without this. With it they refresh themselves, and say what is new.
(function () {
  var main = document.querySelector("main[data-live]"), news = document.getElementById("news"), lead = text(document);
  if (!main) return;
  function text(of) { var p = of.querySelector(".lead"); return p ? p.textContent : ""; }
  function busy() {
    return document.querySelector("[data-adjust]:not([hidden])") || /^(INPUT|TEXTAREA|SELECT)$/.test((document.activeElement || main).tagName) ||
      Array.prototype.some.call(main.querySelectorAll("textarea,select,input:not([type=hidden])"), function (f) { return f.tagName === "SELECT" ? f.selectedIndex > 0 : f.value; });
  }
  function nameOf(e) { return e && main.contains(e) ? e.id ? "#" + e.id : e.getAttribute("href") ? 'a[href="' + e.getAttribute("href") + '"]' : e.value ? '[value="' + e.value + '"]' : "" : ""; }
  var wanted = false;
  function look() {
    wanted = true;
    if (busy()) return; // whoever writes is left alone; see below
    wanted = false;
    fetch(location.pathname).then(function (r) { return r.ok ? r.text() : ""; }).then(function (html) {
      var fresh = new DOMParser().parseFromString(html, "text/html").querySelector("main");
      if (!fresh || busy()) { wanted = true; return; }
      var at = nameOf(document.activeElement), open = Array.prototype.map.call(main.querySelectorAll("details"), function (d) { return d.open; });
      main.innerHTML = fresh.innerHTML;
      Array.prototype.forEach.call(main.querySelectorAll("details"), function (d, i) { d.open = !!open[i]; });
      if (at && main.querySelector(at)) main.querySelector(at).focus();
      if (news && text(main) !== lead) news.textContent = lead = text(main);
      document.dispatchEvent(new Event("fresh"));
    }, function () { wanted = true; });
  }
  setInterval(function () { if (wanted) look(); }, 5000);
  function every() { setInterval(look, 30000); }
  if (!window.EventSource) { every(); return; }
  var source = new EventSource(main.dataset.live);
  source.addEventListener("changed", look);
  source.onerror = function () { if (source.readyState === 2) every(); }; // turned away for good: too many watch
})();
