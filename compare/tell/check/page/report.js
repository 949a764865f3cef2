"use strict";
(function () {
  var still = document.getElementById("photo-stage");
  if (still) { zoomable(still); }
  var data = document.getElementById("motion-data");
  if (data) { moving(JSON.parse(data.textContent)); }

  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details").forEach(function (d) { d.open = true; });
  });

  function zoomable(stage) {
    var svg = stage.querySelector("svg");
    var full = svg.viewBox.baseVal;
    var W = full.width, H = full.height, k = 1, cx = W / 2, cy = H / 2;
    var said = document.getElementById("zoom-said");

    function show() {
      k = Math.min(Math.max(k, 1), 12);
      var w = W / k, h = H / k;
      cx = Math.min(Math.max(cx, w / 2), W - w / 2);
      cy = Math.min(Math.max(cy, h / 2), H - h / 2);
      svg.setAttribute("viewBox", [cx - w / 2, cy - h / 2, w, h].join(" "));
      stage.classList.toggle("zoomed", k > 1.01);
      said.textContent = k > 1.01 ? "Magnified " + k.toFixed(1) + " times" : "";
    }
    function zoom(by, x, y) {
      var before = k;
      k = Math.min(Math.max(k * by, 1), 12);
      if (x !== undefined) { cx = x + (cx - x) * before / k; cy = y + (cy - y) * before / k; }
      show();
    }
    function at(e) {
      var r = svg.getBoundingClientRect();
      return [cx + ((e.clientX - r.left) / r.width - 0.5) * W / k,
              cy + ((e.clientY - r.top) / r.height - 0.5) * H / k];
    }
    document.querySelectorAll("[data-zoom]").forEach(function (b) {
      b.addEventListener("click", function () {
        var by = Number(b.dataset.zoom);
        if (by === 0) { k = 1; show(); } else { zoom(by); }
      });
    });
    document.querySelectorAll("[data-layer]").forEach(function (b) {
      b.addEventListener("click", function () {
        var hidden = stage.classList.toggle("hide-" + b.dataset.layer);
        b.setAttribute("aria-pressed", String(!hidden));
      });
    });
    svg.addEventListener("keydown", function (e) {
      var step = 0.15 / k, done = true;
      if (e.key === "+" || e.key === "=") { zoom(1.4); }
      else if (e.key === "-") { zoom(1 / 1.4); }
      else if (e.key === "0") { k = 1; show(); }
      else if (k > 1 && e.key === "ArrowLeft") { cx -= step * W; show(); }
      else if (k > 1 && e.key === "ArrowRight") { cx += step * W; show(); }
      else if (k > 1 && e.key === "ArrowUp") { cy -= step * H; show(); }
      else if (k > 1 && e.key === "ArrowDown") { cy += step * H; show(); }
      else { done = false; }
      if (done) { e.preventDefault(); }
    });
    svg.addEventListener("dblclick", function (e) { var p = at(e); zoom(2, p[0], p[1]); });
    svg.addEventListener("wheel", function (e) {
      if (!e.ctrlKey && document.activeElement !== svg) { return; }
      e.preventDefault();
      var p = at(e);
      zoom(e.deltaY < 0 ? 1.2 : 1 / 1.2, p[0], p[1]);
    }, { passive: false });
    var fingers = {}, spread = 0;
    function apart() {
      var p = Object.values(fingers);
      return p.length < 2 ? 0 : Math.hypot(p[0].clientX - p[1].clientX, p[0].clientY - p[1].clientY);
    }
    svg.addEventListener("pointerdown", function (e) { fingers[e.pointerId] = e; spread = apart(); });
    svg.addEventListener("pointermove", function (e) {
      var last = fingers[e.pointerId];
      if (!last) { return; }
      fingers[e.pointerId] = e;
      var now = apart();
      if (now && spread) { zoom(now / spread); spread = now; return; }
      if (k <= 1) { return; }
      var r = svg.getBoundingClientRect();
      cx -= (e.clientX - last.clientX) / r.width * W / k;
      cy -= (e.clientY - last.clientY) / r.height * H / k;
      show();
    });
    ["pointerup", "pointercancel", "pointerleave"].forEach(function (n) {
      svg.addEventListener(n, function (e) { delete fingers[e.pointerId]; spread = 0; });
    });
  }

  function moving(d) {
    var svg = document.getElementById("moving");
    var slider = document.getElementById("opening");
    var said = document.getElementById("opening-said");
    var group = svg.querySelector(".poses");
    var paths = [];
    group.textContent = "";
    [["design", d.design], ["measured", d.built]].forEach(function (pair) {
      if (!pair[1]) { return; }
      Object.keys(pair[1].panels).forEach(function (name) {
        var p = document.createElementNS("http://www.w3.org/2000/svg", "path");
        p.setAttribute("class", pair[0] + (name.indexOf("page ") === 0 ? " page" : ""));
        p.setAttribute("vector-effect", "non-scaling-stroke");
        group.appendChild(p);
        paths.push([p, pair[1].panels[name]]);
      });
    });
    function lean(v) {
      if (v === null) { return "cannot be worked out"; }
      if (Math.abs(v) < 0.05) { return "level"; }
      return Math.abs(v).toFixed(1) + "° " + (v > 0 ? "outer edge high" : "outer edge low");
    }
    function show() {
      var i = d.openings.length - 1 - Number(slider.value);
      paths.forEach(function (q) {
        var points = q[1][i].filter(function (p) { return p[0] !== null; });
        q[0].setAttribute("d", points.length > 1 ? "M" + points.map(function (p) { return p.join(" "); }).join("L") : "");
      });
      var phi = d.openings[i], jams = d.built !== null && phi < d.binds;
      svg.classList.toggle("bent", jams);
      var words = "Open " + phi.toFixed(0) + "°: ";
      if (jams) {
        words += "below " + d.binds.toFixed(0) + "° card meets card: it must bend to shut further.";
      } else if (d.built) {
        words += Object.keys(d.built.lean).map(function (h) {
          return (h === "left" || h === "right" ? h + " half " : h + " ") + lean(d.built.lean[h][i]);
        }).join(", ") + ".";
      }
      said.textContent = words;
      slider.setAttribute("aria-valuetext", words);
    }
    slider.max = String(d.openings.length - 1);
    slider.value = slider.max;
    slider.addEventListener("input", show);
    show();
  }
})();
