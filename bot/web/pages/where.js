"use strict";
// Shares the phone's location, lets the point be moved, and makes a photo small before it
// travels. Words and a plain file do without this.
(function () {
  function locate() {
    var form = document.querySelector("form[data-geo]");
    if (!form) return;
    var set = form.dataset, at = form.elements, box = form.querySelector("[data-adjust]"), ground = box.querySelector(".ground"), svg = ground.querySelector("svg");
    var button = form.querySelector("[data-locate]"), known = form.querySelector("[data-known]"), said = form.querySelector("[data-said]");
    var scale = box.querySelector("[data-scale]"), off = box.querySelector("[data-off]"), tiles = ground.querySelector(".tiles");
    var lat = 0, lon = 0, half = 100, x = 0, y = 0, about = 0, moved = false;
    var perLat = 111200, round = Math.PI / 180;
    function perLon() { return perLat * Math.cos(lat * round); }
    function far(m) { return set.metric ? Math.round(m) + " m" : (m > 1500 ? (m / 1609).toFixed(1) + " mi" : Math.round(m * 3.281 / 5) * 5 + " ft"); }
    // put marks the point x to the east and y to the south of the middle, in hundredths of half.
    function put(nx, ny) {
      x = Math.max(-96, Math.min(96, nx)); y = Math.max(-96, Math.min(96, ny));
      svg.querySelector(".here").setAttribute("transform", "translate(" + x + " " + y + ")");
      var e = x * half / 100, s = y * half / 100;
      at.lat.value = (lat - s / perLat).toFixed(6); at.lon.value = (lon + e / perLon()).toFixed(6);
      at.within.value = Math.round(moved ? Math.max(10, half / 10) : about);
      off.textContent = Math.hypot(e, s) < half / 50 ? "" : [s ? far(Math.abs(s)) + " " + (s < 0 ? set.n : set.s) : "", e ? far(Math.abs(e)) + " " + (e < 0 ? set.w : set.e) : ""].filter(Boolean).join(", ");
    }
    function draw() {
      scale.textContent = set.square.replace("{}", far(set.tiles ? half * 2 : half / 5));
      svg.querySelector(".about").setAttribute("r", Math.min(140, about / half * 100));
      if (!set.tiles) return;
      // Web Mercator: a tile at zoom z is 40 075 017 m · cos(latitude) / 2^z wide (EPSG:3857).
      var wide = ground.clientWidth, px = wide / (2 * half), equator = 40075017 * Math.cos(lat * round);
      var z = Math.max(2, Math.min(19, Math.round(Math.log2(equator * px / 256)))), n = Math.pow(2, z), size = equator * px / n;
      var tx = (lon + 180) / 360 * n, ty = (1 - Math.log(Math.tan(lat * round) + 1 / Math.cos(lat * round)) / Math.PI) / 2 * n, reach = wide / 2 / size;
      tiles.textContent = "";
      for (var i = Math.floor(tx - reach); i <= tx + reach; i++) {
        for (var j = Math.max(0, Math.floor(ty - reach)); j <= Math.min(n - 1, ty + reach); j++) {
          var img = new Image();
          img.alt = ""; img.referrerPolicy = "origin";
          img.style.cssText = "left:" + ((i - tx) * size + wide / 2) + "px;top:" + ((j - ty) * size + wide / 2) + "px;width:" + (size + .5) + "px";
          img.src = set.tiles.replace("{z}", z).replace("{x}", (i % n + n) % n).replace("{y}", j);
          tiles.appendChild(img);
        }
      }
    }
    function open(la, lo, within, wide) {
      lat = la; lon = lo; about = within; half = wide; moved = false;
      said.textContent = ""; box.hidden = false; if (button) button.hidden = true; if (known) known.hidden = true;
      draw(); put(0, 0); box.querySelector("h3").focus();
    }
    // middle makes the point the middle, at half metres to the edge.
    function middle(wide) {
      var nla = +at.lat.value, nlo = +at.lon.value;
      half = Math.max(25, Math.min(51200, wide)); lat = nla; lon = nlo; moved = true;
      draw(); put(0, 0);
    }
    function step(dx, dy) { moved = true; put(x + dx, y + dy); }
    if (navigator.geolocation && window.isSecureContext) {
      button.hidden = false;
      button.onclick = function () {
        said.textContent = set.locating;
        navigator.geolocation.getCurrentPosition(function (p) {
          var a = p.coords.accuracy, wide = 100;
          while (wide < a * 1.2 && wide < 6400) wide *= 2;
          open(p.coords.latitude, p.coords.longitude, a, wide);
        }, function () { said.textContent = set.denied; }, { enableHighAccuracy: true, timeout: 15000 });
      };
    } else said.textContent = set.insecure;
    if (known) {
      known.hidden = false;
      known.onclick = function () {
        var within = +set.within, wide = 100;
        while (wide < within * 1.2 && wide < 51200) wide *= 2;
        open(+set.lat, +set.lon, within, wide);
      };
    }
    function there(e) {
      var r = svg.getBoundingClientRect();
      moved = true;
      put((e.clientX - r.left) / r.width * 200 - 100, (e.clientY - r.top) / r.height * 200 - 100);
    }
    svg.onpointerdown = function (e) { svg.setPointerCapture(e.pointerId); there(e); };
    svg.onpointermove = function (e) { if (e.buttons) there(e); };
    var keys = { ArrowLeft: [-5, 0], ArrowRight: [5, 0], ArrowUp: [0, -5], ArrowDown: [0, 5] };
    box.onkeydown = function (e) { if (keys[e.key]) { e.preventDefault(); step(keys[e.key][0], keys[e.key][1]); } };
    box.onclick = function (e) {
      var does = e.target.dataset.step;
      if (keys[does]) step(keys[does][0], keys[does][1]);
      if (does === "in") middle(half / 2);
      if (does === "out") middle(half * 2);
    };
  }
  function photo() {
    var form = document.querySelector("form[data-photo]");
    if (!form || !window.createImageBitmap || !window.DataTransfer) return;
    var input = form.elements.photo, said = form.querySelector("[data-said]");
    input.onchange = function () {
      var file = input.files[0];
      if (!file) return;
      createImageBitmap(file, { imageOrientation: "from-image" }).then(function (m) {
        var by = Math.min(1, 1280 / Math.max(m.width, m.height)), c = document.createElement("canvas");
        c.width = Math.round(m.width * by); c.height = Math.round(m.height * by);
        c.getContext("2d").drawImage(m, 0, 0, c.width, c.height);
        c.toBlob(function (small) {
          if (!small || input.files[0] !== file) return;
          var files = new DataTransfer();
          files.items.add(new File([small], "photo.jpg", { type: "image/jpeg" }));
          input.files = files.files;
          said.textContent = form.dataset.ready.replace("{}", Math.round(small.size / 1024));
        }, "image/jpeg", .75);
      }, function () { said.textContent = ""; }); // the server has a look at it as it is
    };
  }
  function begin() { locate(); photo(); }
  document.addEventListener("fresh", begin);
  begin();
})();
