"use strict";
(function () {
  const token = document.querySelector("meta[name=form-token]").content;
  const stage = document.querySelector("[data-stage]");
  if (stage) { photo(stage); }
  const motion = document.getElementById("motion-data");
  if (motion && motion.textContent.trim()) { moving(JSON.parse(motion.textContent)); }

  function make(name, attributes, parent) {
    const e = document.createElementNS("http://www.w3.org/2000/svg", name);
    Object.keys(attributes).forEach(function (k) { e.setAttribute(k, attributes[k]); });
    parent.appendChild(e);
    return e;
  }

  function photo(stage) {
    const svg = stage.querySelector(".over");
    const drawn = JSON.parse(document.getElementById("drawn-data").textContent);
    const W = drawn.width, H = drawn.height;
    let k = 1, cx = W / 2, cy = H / 2;

    function show() {
      k = Math.min(Math.max(k, 1), 12);
      const w = W / k, h = H / k;
      cx = Math.min(Math.max(cx, w / 2), W - w / 2);
      cy = Math.min(Math.max(cy, h / 2), H - h / 2);
      svg.setAttribute("viewBox", [cx - w / 2, cy - h / 2, w, h].join(" "));
      stage.classList.toggle("zoomed", k > 1.01);
    }
    function zoom(by, x, y) {
      const before = k;
      k = Math.min(Math.max(k * by, 1), 12);
      if (x !== undefined) { cx = x + (cx - x) * before / k; cy = y + (cy - y) * before / k; }
      show();
    }
    function at(event) {
      const r = svg.getBoundingClientRect();
      return [cx + ((event.clientX - r.left) / r.width - 0.5) * W / k,
              cy + ((event.clientY - r.top) / r.height - 0.5) * H / k];
    }
    document.querySelector("[data-tools]").hidden = false;
    document.querySelectorAll("[data-zoom]").forEach(function (b) {
      b.addEventListener("click", function () {
        const by = Number(b.dataset.zoom);
        if (by === 0) { k = 1; show(); } else { zoom(by); }
      });
    });
    document.querySelectorAll("[data-layer]").forEach(function (b) {
      b.addEventListener("click", function () {
        const hidden = stage.classList.toggle("hide-" + b.dataset.layer);
        b.setAttribute("aria-pressed", String(!hidden));
      });
    });
    svg.addEventListener("keydown", function (e) {
      const step = 0.15 / k;
      let done = true;
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
    svg.addEventListener("dblclick", function (e) { const p = at(e); zoom(2, p[0], p[1]); });
    svg.addEventListener("wheel", function (e) {
      if (!e.ctrlKey && document.activeElement !== svg) { return; }
      e.preventDefault();
      const p = at(e);
      zoom(e.deltaY < 0 ? 1.2 : 1 / 1.2, p[0], p[1]);
    }, { passive: false });

    const fingers = new Map();
    let spread = 0;
    function apart() {
      const p = Array.from(fingers.values());
      return p.length < 2 ? 0 : Math.hypot(p[0].clientX - p[1].clientX, p[0].clientY - p[1].clientY);
    }
    svg.addEventListener("pointerdown", function (e) { fingers.set(e.pointerId, e); spread = apart(); });
    svg.addEventListener("pointermove", function (e) {
      const last = fingers.get(e.pointerId);
      if (!last || stage.classList.contains("taking")) { return; }
      fingers.set(e.pointerId, e);
      const now = apart();
      if (now && spread) { zoom(now / spread); spread = now; return; }
      if (k <= 1) { return; }
      const r = svg.getBoundingClientRect();
      cx -= (e.clientX - last.clientX) / r.width * W / k;
      cy -= (e.clientY - last.clientY) / r.height * H / k;
      show();
    });
    ["pointerup", "pointercancel", "pointerleave"].forEach(function (n) {
      svg.addEventListener(n, function (e) { fingers.delete(e.pointerId); spread = 0; });
    });

    if (stage.dataset.hand) { hand(stage, svg, drawn, at, function () { return k; }); }
  }

  /* Joints taken hold of: by pointer with a lens beside it, or chosen and moved by arrow keys. */
  function hand(stage, svg, drawn, at, scaleNow) {
    const form = document.querySelector("[data-hand-form]");
    const choice = form.querySelector("[data-joint-choice]");
    const said = form.querySelector("[data-hand-said]");
    const undo = form.querySelector("[data-undo]"), keep = form.querySelector("[data-keep]");
    const field = form.querySelector("[data-points]");
    const lens = stage.querySelector(".lens");
    const picture = svg.querySelector("image").getAttribute("href");
    const set = new Map(), past = [];
    let held = null, timer = 0, asking = 0;

    const holder = document.querySelector("[data-hand-box]");
    holder.hidden = false;
    stage.classList.add("ready");
    list();
    holder.addEventListener("toggle", function () { if (holder.open && !asking) { ask(); } });

    function marks() { return Array.from(svg.querySelectorAll("[data-joint]")); }
    function mark(name) { return marks().find(function (g) { return g.dataset.joint === name; }); }
    function place(name) {
      const box = mark(name).querySelector(".grip");
      return [Number(box.getAttribute("cx")), Number(box.getAttribute("cy"))];
    }
    function list() {
      const chosen = choice.value;
      choice.textContent = "";
      marks().forEach(function (g) {
        const o = document.createElement("option");
        o.textContent = g.dataset.joint;
        o.value = g.dataset.joint;
        choice.appendChild(o);
      });
      if (chosen && mark(chosen)) { choice.value = chosen; }
    }
    function photoPx(p) {
      return [(p[0] + 0.5) / drawn.scale - 0.5 + drawn.low[0], (p[1] + 0.5) / drawn.scale - 0.5 + drawn.low[1]];
    }
    function put(name, p) {
      const g = mark(name);
      const c = g.querySelector(".grip"), j = g.querySelector(".joint");
      c.setAttribute("cx", p[0]); c.setAttribute("cy", p[1]);
      if (j.tagName === "rect") { j.setAttribute("x", p[0] - 9); j.setAttribute("y", p[1] - 9); }
      else { j.setAttribute("cx", p[0]); j.setAttribute("cy", p[1]); }
      const q = photoPx(p);
      said.textContent = said.dataset.at.replace("{joint}", name).replace("{x}", q[0].toFixed(1)).replace("{y}", q[1].toFixed(1));
      look(p);
    }
    function look(p) {
      const reach = drawn.width / 6 / 4;
      lens.textContent = "";
      lens.setAttribute("viewBox", [p[0] - reach, p[1] - reach, 2 * reach, 2 * reach].join(" "));
      make("image", { href: picture, width: drawn.width, height: drawn.height, preserveAspectRatio: "none" }, lens);
      make("path", { d: "M" + (p[0] - reach) + " " + p[1] + "h" + 2 * reach + "M" + p[0] + " " + (p[1] - reach) + "v" + 2 * reach }, lens);
      const r = svg.getBoundingClientRect(), vb = svg.viewBox.baseVal;
      const x = (p[0] - vb.x) / vb.width * r.width, y = (p[1] - vb.y) / vb.height * r.height;
      const size = 176;
      lens.hidden = false;
      lens.setAttribute("data-side", x > r.width / 2 ? "left" : "right");
      lens.style.left = (x > r.width / 2 ? Math.max(x - size - 40, 4) : Math.min(x + 40, r.width - size - 4)) + "px";
      lens.style.top = Math.min(Math.max(y - size / 2, 4), Math.max(r.height - size - 4, 4)) + "px";
    }
    function take(name) {
      marks().forEach(function (g) { g.classList.toggle("held", g.dataset.joint === name); });
      held = name;
    }
    function done(name, before) {
      past.push([name, before, set.get(name)]);
      set.set(name, photoPx(place(name)));
      undo.disabled = false;
      ask();
    }
    async function ask() {
      const mine = ++asking;
      const points = Array.from(set, function (e) { return [e[0], e[1][0], e[1][1]]; });
      field.value = JSON.stringify(points);
      keep.disabled = !points.length;
      said.textContent = said.dataset.working;
      try {
        const answer = await fetch(stage.dataset.hand, {
          method: "POST", body: JSON.stringify(points),
          headers: { "content-type": "application/json", "x-form-token": token }
        });
        const told = await answer.json();
        if (mine !== asking || !points.length && mine === 1) { said.textContent = ""; return; }
        if (told.line) { said.textContent = told.line; return; }
        document.getElementById("part-answer").innerHTML = told.answer;
        document.getElementById("part-lengths").innerHTML = told.lengths;
        document.getElementById("part-listed").innerHTML = told.listed;
        const layers = document.getElementById("part-layers");
        const fresh = new DOMParser().parseFromString(
          '<svg xmlns="http://www.w3.org/2000/svg">' + told.layers + "</svg>", "image/svg+xml");
        layers.replaceChildren.apply(layers, Array.from(fresh.documentElement.childNodes).map(function (n) { return document.importNode(n, true); }));
        list();
        if (held) { take(held); }
        said.textContent = told.said;
      } catch (error) {
        if (mine === asking) { said.textContent = said.dataset.failed; }
      }
    }

    svg.addEventListener("pointerdown", function (e) {
      const g = e.target.closest("[data-joint]");
      if (!g) { return; }
      e.preventDefault();
      svg.setPointerCapture(e.pointerId);
      const name = g.dataset.joint, from = place(name), grab = at(e);
      stage.classList.add("taking");
      take(name);
      choice.value = name;
      holder.open = true;
      look(from);
      let moved = false;
      function move(event) {
        const p = at(event);
        moved = true;
        put(name, [from[0] + p[0] - grab[0], from[1] + p[1] - grab[1]]);
      }
      function up() {
        svg.removeEventListener("pointermove", move);
        svg.removeEventListener("pointerup", up);
        svg.removeEventListener("pointercancel", up);
        stage.classList.remove("taking");
        lens.hidden = true;
        if (moved) { done(name, from); }
      }
      svg.addEventListener("pointermove", move);
      svg.addEventListener("pointerup", up);
      svg.addEventListener("pointercancel", up);
    });

    choice.addEventListener("focus", function () { take(choice.value); look(place(choice.value)); });
    choice.addEventListener("change", function () { take(choice.value); look(place(choice.value)); });
    choice.addEventListener("blur", function () { lens.hidden = true; });
    let start = null;
    function nudge(way, far) {
      const name = choice.value, from = place(name), step = (far ? 1 : 0.1) * drawn.scale;
      if (start === null) { start = [name, from]; }
      take(name);
      put(name, [from[0] + way[0] * step, from[1] + way[1] * step]);
      window.clearTimeout(timer);
      timer = window.setTimeout(function () { const s = start; start = null; done(s[0], s[1]); }, 250);
    }
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    form.querySelectorAll("[data-nudge]").forEach(function (b) {
      b.addEventListener("click", function (e) { nudge(ways[b.dataset.nudge], e.shiftKey); });
      b.addEventListener("blur", function () { lens.hidden = true; });
      b.addEventListener("keydown", function (e) {
        if (!ways[e.key]) { return; }
        e.preventDefault();
        nudge(ways[e.key], e.shiftKey);
      });
    });
    undo.addEventListener("click", function () {
      const last = past.pop();
      if (!last) { return; }
      put(last[0], last[1]);
      lens.hidden = true;
      if (last[2]) { set.set(last[0], last[2]); } else { set.delete(last[0]); }
      undo.disabled = !past.length;
      ask();
    });
  }

  /* The slider: the dummy from shut to open. */
  function moving(d) {
    const svg = document.getElementById("moving"), slider = document.getElementById("opening");
    const said = document.getElementById("opening-said"), group = svg.querySelector("[data-poses]");
    const paths = [];
    group.textContent = "";
    [["design", d.design], ["built", d.built]].forEach(function (pair) {
      if (!pair[1]) { return; }
      Object.keys(pair[1].panels).forEach(function (name) {
        paths.push([make("path", { "class": pair[0] }, group), pair[1].panels[name]]);
      });
    });
    function show() {
      const i = d.openings.length - 1 - Number(slider.value);
      paths.forEach(function (q) {
        const points = q[1][i].filter(function (p) { return p[0] !== null; });
        q[0].setAttribute("d", points.length > 1 ? "M" + points.map(function (p) { return p.join(" "); }).join("L") : "");
      });
      const phi = d.openings[i], jams = d.built && phi < d.binds;
      paths.forEach(function (q) { q[0].classList.toggle("bent", Boolean(jams) && q[0].classList.contains("built")); });
      let words = slider.dataset.said.replace("{deg}", phi.toFixed(0));
      if (jams) { words += " " + slider.dataset.jams.replace("{deg}", d.binds.toFixed(0)); }
      else if (d.built) {
        words += " " + Object.keys(d.built.lean).filter(function (h) { return d.built.lean[h][i] !== null; }).map(function (h) {
          const v = d.built.lean[h][i];
          return h + " " + (v > 0 ? "+" : "") + v.toFixed(1) + "°";
        }).join(", ");
      }
      said.textContent = words;
      slider.setAttribute("aria-valuetext", words);
    }
    slider.addEventListener("input", show);
    show();
  }
})();
