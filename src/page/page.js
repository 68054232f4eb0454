"use strict";
// Draws the page from its data. Texts from the data only ever become textContent.
(() => {
  const began = performance.now();
  const D = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const SVG = "http://www.w3.org/2000/svg";
  const frames = D.last - D.first + 1;
  const state = { pass: 0, axis: null, frame: D.first };

  function svg(tag, attributes, text) {
    const e = document.createElementNS(SVG, tag);
    for (const k in attributes) e.setAttribute(k, attributes[k]);
    if (text !== undefined) e.textContent = text;
    return e;
  }
  function html(tag, name, text) {
    const e = document.createElement(tag);
    if (name) e.className = name;
    if (text !== undefined) e.textContent = text;
    return e;
  }
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const shown = (x) => {
    const a = Math.abs(x);
    if (!(a > 1e-15)) return "0";
    // Four significant digits, no power of ten, no zeros at the end, as the program prints.
    const places = Math.min(20, Math.max(0, 3 - Math.floor(Math.log10(a))));
    const text = x.toFixed(places);
    return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
  };

  // --- curves: position and three derivatives by frame time, from the pieces ---------------------------------
  function pieceAt(axis, t) {
    const k = axis.knots;
    let low = 0, high = axis.pieces.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (k[middle] <= t) low = middle; else high = middle - 1;
    }
    return low;
  }
  function inPiece(axis, i, t) {
    const h = axis.knots[i + 1] - axis.knots[i], u = (t - axis.knots[i]) / h, c = axis.pieces[i];
    return [
      c[0] + u * (c[1] + u * (c[2] + u * (c[3] + u * (c[4] + u * c[5])))),
      (c[1] + u * (2 * c[2] + u * (3 * c[3] + u * (4 * c[4] + u * 5 * c[5])))) / h,
      (2 * c[2] + u * (6 * c[3] + u * (12 * c[4] + u * 20 * c[5]))) / (h * h),
      (6 * c[3] + u * (24 * c[4] + u * 60 * c[5])) / (h * h * h),
    ];
  }
  /** Points of one axis at a pace: at every column of the drawing and, from either side, at every knot. */
  function points(axis, pace, columns) {
    const from = axis.knots[0], to = axis.knots[axis.knots.length - 1], all = [];
    const scale = [1, pace, pace * pace, pace * pace * pace];
    for (let i = 0; i < axis.pieces.length; i++) {
      const a = axis.knots[i], b = axis.knots[i + 1], n = Math.max(2, Math.ceil(((b - a) / (to - from)) * columns));
      for (let j = 0; j <= n; j++) {
        const t = a + ((b - a) * j) / n;
        all.push([t, ...inPiece(axis, i, t).map((x, k) => x / scale[k])]);
      }
    }
    return all;
  }

  // --- the map -----------------------------------------------------------------------------------------------
  function drawMap() {
    const map = $("map"), pass = D.passes[state.pass], marks = D.axes.map(() => new Set());
    // The map itself shows where a curve is over; what it does not shade (torque, clearance, a run-up) is marked by its span.
    const shaded = ["position", "velocity", "acceleration", "jerk", "step_rate"];
    for (const o of pass.over)
      if (!shaded.includes(o.limit) || !pass.usage[o.axis].some((u) => u > 1000)) for (let n = Math.max(D.first, Math.floor(o.from + 0.5)); n <= Math.min(D.last, Math.floor(Math.max(o.from, o.to) + 0.5)); n++) marks[o.axis].add(n - D.first);
    const list = html("div");
    list.setAttribute("role", "listbox");
    list.setAttribute("aria-label", "axes");
    const shade = colour("--shade"), accent = colour("--accent"), paper = colour("--paper");
    D.axes.forEach((axis, i) => {
      const usage = pass.usage[i], most = Math.max(...usage), over = most > 1000 || marks[i].size > 0;
      const row = html("div", over ? "row over" : "row");
      row.setAttribute("role", "option");
      row.setAttribute("aria-selected", String(state.axis === i));
      row.tabIndex = i === (state.axis ?? 0) ? 0 : -1;
      row.dataset.axis = String(i);
      row.append(html("span", "name", axis.name));
      const parked = pass.parked.includes(i);
      row.append(html("span", "most", parked ? "parked" : (most / 10).toFixed(1) + " %"));
      const canvas = html("canvas");
      canvas.width = Math.max(frames, 1000);
      canvas.height = 16;
      const c = canvas.getContext("2d"), w = canvas.width / frames;
      usage.forEach((u, n) => {
        const x = Math.floor(n * w), wide = Math.max(1, Math.floor((n + 1) * w) - x);
        if (u > 1000 || marks[i].has(n)) {
          c.fillStyle = accent;
          c.fillRect(x, 0, wide, 16);
          c.fillStyle = paper;
          for (let y = n % 2 ? 2 : 6; y < 16; y += 8) c.fillRect(x, y, wide, 2);
        } else if (u > 0) {
          c.fillStyle = `rgba(${shade}, ${(u / 1000) * 0.9})`;
          c.fillRect(x, 0, wide, 16);
        }
      });
      row.append(canvas);
      row.addEventListener("click", () => choose(i, true));
      list.append(row);
    });
    list.addEventListener("keydown", (e) => {
      const at = Number(document.activeElement.dataset.axis ?? 0), step = { ArrowDown: 1, ArrowUp: -1, PageDown: 10, PageUp: -10 }[e.key];
      if (step) choose(Math.min(D.axes.length - 1, Math.max(0, at + step)), true);
      else if (e.key === "Home") choose(0, true);
      else if (e.key === "End") choose(D.axes.length - 1, true);
      else if (e.key === "Enter" || e.key === " ") choose(at, true);
      else return;
      e.preventDefault();
    });
    const scale = html("div", "scale");
    for (const part of [0, 0.25, 0.5, 0.75, 1]) scale.append(html("span", "", String(Math.round(D.first + part * (frames - 1)))));
    map.replaceChildren(list, scale);
  }
  function choose(i, focus) {
    state.axis = i;
    for (const row of document.querySelectorAll("#map .row")) {
      const own = Number(row.dataset.axis) === i;
      row.setAttribute("aria-selected", String(own));
      row.tabIndex = own ? 0 : -1;
      if (own && focus) row.focus({ preventScroll: false });
    }
    drawCurves();
  }

  // --- one axis ----------------------------------------------------------------------------------------------
  const LEFT = 230, RIGHT = 130;
  const NAMES = ["position", "velocity", "acceleration", "jerk"];
  function drawCurves() {
    const section = $("axis");
    section.hidden = state.axis === null;
    if (state.axis === null) return;
    const axis = D.axes[state.axis], pass = D.passes[state.pass], u = axis.unit;
    const units = [u, u + "/s", u + "/s2", u + "/s3"];
    $("axis_name").textContent = `${axis.name}, pass ${pass.name}`;
    const parked = pass.parked.includes(state.axis);
    const panels = parked ? [] : pass.held ? [0] : [0, 1, 2, 3];
    const all = parked ? [] : points(axis, pass.pace, 1000);
    const x0 = axis.knots[0], x1 = axis.knots[axis.knots.length - 1], W = 1240, left = LEFT, right = RIGHT;
    const X = (t) => left + ((t - x0) / (x1 - x0)) * (W - left - right);
    $("curves").replaceChildren(...panels.map((k) => panel(k, axis, pass, all, units, X, W, left, right)));
    const over = pass.over.filter((o) => o.axis === state.axis).map((o) => o.message);
    $("axis_text").textContent = parked ? "Parked at home in this pass." :
      (pass.held ? "Held: the axis stops for each exposure and moves to the next position in between. Circles are keys. " : "Circles are keys; bars show when the shutter is open. ") + over.join(" ");
    moveNow();
  }
  function panel(k, axis, pass, all, units, X, W, left, right) {
    const H = k === 0 ? 230 : 170, top = 14, bottom = k === 0 ? 34 : 20;
    const [lower, upper] = k === 0 ? axis.travel : [-axis.limits[k - 1], axis.limits[k - 1]];
    let least = Infinity, most = -Infinity;
    for (const p of all) { least = Math.min(least, p[k + 1]); most = Math.max(most, p[k + 1]); }
    const size = Math.max(most - least, Math.abs(most), Math.abs(least), 1e-12);
    // Limits far off would press the curve flat: they are named instead.
    const near = (l) => Math.abs(l - (least + most) / 2) <= 2.5 * size;
    let low = near(lower) ? Math.min(least, lower) : least, high = near(upper) ? Math.max(most, upper) : most;
    if (high - low < 1e-12 * size || high === low) { low -= 1; high += 1; }
    const pad = 0.06 * (high - low);
    low -= pad; high += pad;
    const Y = (y) => top + ((high - y) / (high - low)) * (H - top - bottom);
    const s = svg("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": `${NAMES[k]} of ${axis.name}` });
    s.dataset.panel = NAMES[k];
    for (const edge of [D.first - 0.5, D.last + 0.5]) s.append(svg("line", { class: "cut", x1: X(edge), x2: X(edge), y1: top, y2: H - bottom }));
    if (low < 0 && 0 < high && k > 0) s.append(svg("line", { class: "axis", x1: left, x2: W - right, y1: Y(0), y2: Y(0) }));
    const over = (y) => y > upper * (upper > 0 ? 1 + 1e-9 : 1) || y < lower * (lower < 0 ? 1 + 1e-9 : 1);
    const isOver = least < lower && over(least) || most > upper && over(most);
    for (const [l, name] of [[upper, "limit"], [lower, "limit"]]) {
      if (!near(l)) continue;
      s.append(svg("line", { class: isOver ? "limit over" : "limit", x1: left, x2: W - right, y1: Y(l), y2: Y(l) }));
      s.append(svg("text", { class: "soft", x: W - right + 8, y: Y(l) + 5 }, `${name} ${shown(l)}`));
    }
    const path = (test) => {
      let d = "", down = false;
      for (const p of all) {
        if (test(p[k + 1])) { d += `${down ? "L" : "M"}${X(p[0]).toFixed(1)} ${Y(p[k + 1]).toFixed(1)}`; down = true; } else down = false;
      }
      return d;
    };
    s.append(svg("path", { class: "curve", d: path(() => true) }));
    if (isOver) s.append(svg("path", { class: "curve over", d: path(over) }));
    s.append(svg("text", { x: 0, y: top + 12 }, NAMES[k]), svg("text", { class: "soft", x: 0, y: top + 30 }, units[k]));
    s.append(svg("text", { class: "soft", x: left - 8, y: Y(most) + 5, "text-anchor": "end" }, shown(most)));
    if (Math.abs(Y(least) - Y(most)) > 16) s.append(svg("text", { class: "soft", x: left - 8, y: Y(least) + 5, "text-anchor": "end" }, shown(least)));
    const far = [upper, lower].filter((l) => !near(l));
    if (far.length) s.append(svg("text", { class: "soft", x: W - right + 8, y: top + 12 }, k === 0 ? `${shown(lower)} to ${shown(upper)}` : `limit ${shown(upper)}`));
    if (k === 0) {
      for (const f of axis.keys) {
        if (f < axis.knots[0] || f > axis.knots[axis.knots.length - 1]) continue;
        s.append(svg("circle", { class: "key", cx: X(f), cy: Y(inPiece(axis, pieceAt(axis, f), f)[0]), r: 4 }));
      }
      let d = "";
      for (let n = D.first; n <= D.last; n++) d += `M${X(n - pass.open / 2).toFixed(1)} ${H - bottom + 6}H${X(n + pass.open / 2).toFixed(1)}`;
      s.append(svg("path", { class: "open", d }));
      for (const n of [D.first, D.last]) s.append(svg("text", { class: "soft", x: X(n), y: H - 6, "text-anchor": "middle" }, `frame ${n}`));
    }
    s.append(svg("line", { class: "now", x1: 0, x2: 0, y1: top, y2: H - bottom }), svg("text", { class: "value", x: 0, y: top + 52 }));
    return s;
  }
  function moveNow() {
    if (state.axis === null) return;
    const axis = D.axes[state.axis], pass = D.passes[state.pass];
    const values = inPiece(axis, pieceAt(axis, state.frame), state.frame);
    const x0 = axis.knots[0], x1 = axis.knots[axis.knots.length - 1];
    document.querySelectorAll("#curves svg").forEach((s) => {
      const k = NAMES.indexOf(s.dataset.panel), x = LEFT + ((state.frame - x0) / (x1 - x0)) * (1240 - LEFT - RIGHT), line = s.querySelector(".now");
      line.setAttribute("x1", x);
      line.setAttribute("x2", x);
      s.querySelector(".value").textContent = `frame ${state.frame}: ${shown(values[k] / pass.pace ** k)}`;
    });
  }

  // --- the stage ---------------------------------------------------------------------------------------------
  const S = D.scene;
  let views = [];
  function extent(a, b) {
    let box = [Infinity, -Infinity, Infinity, -Infinity];
    const take = (x, y) => { box = [Math.min(box[0], x), Math.max(box[1], x), Math.min(box[2], y), Math.max(box[3], y)]; };
    for (const body of S.bodies) for (const p of body.places) for (let i = 0; i < p.length; i += 3) take(p[i + a], p[i + b]);
    for (const o of S.still) { take(o.from[a], o.from[b]); take(o.to[a], o.to[b]); }
    const pad = 0.08 * Math.max(box[1] - box[0], box[3] - box[2], 1);
    return [box[0] - pad, box[1] + pad, box[2] - pad, box[3] + pad];
  }
  /** A view along one direction: `a` runs to the right, `b` down, or up where `up`. */
  function view(id, a, b, up, names) {
    const [l, r, t, d] = extent(a, b), W = 640, k = W / (r - l), H = Math.max(120, Math.min(640, (d - t) * k));
    const X = (x) => (x - l) * k, Y = (y) => (up ? H - (y - t) * (H / (d - t)) : (y - t) * (H / (d - t)));
    const s = svg("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": names });
    for (const o of S.still) {
      s.append(svg("line", { class: "still", x1: X(o.from[a]), y1: Y(o.from[b]), x2: X(o.to[a]), y2: Y(o.to[b]) }));
      s.append(svg("text", { class: "soft", x: X(o.to[a]) + 6, y: Y(o.to[b]) - 4 }, o.name));
    }
    for (const body of S.bodies) {
      const d = body.places.map((p, i) => `${i ? "L" : "M"}${X(p[p.length - 3 + a]).toFixed(1)} ${Y(p[p.length - 3 + b]).toFixed(1)}`).join("");
      s.append(svg("path", { class: "path", d }));
    }
    const moving = svg("g");
    s.append(moving);
    $(id).replaceChildren(s);
    views.push((n) => {
      const parts = [];
      for (const body of S.bodies) {
        const p = body.places[n], x = X(p[p.length - 3 + a]), y = Y(p[p.length - 3 + b]);
        let d = "";
        for (let i = 0; i < p.length; i += 3) d += `${i ? "L" : "M"}${X(p[i + a]).toFixed(1)} ${Y(p[i + b]).toFixed(1)}`;
        if (body.half_view !== null && !up) {
          const look = body.looks[n], way = Math.atan2(look[b], look[a]), half = (body.half_view * Math.PI) / 180, far = Math.max(W, H);
          const edge = (turn) => `${(x + far * Math.cos(way + turn)).toFixed(1)} ${(y + far * Math.sin(way + turn)).toFixed(1)}`;
          parts.push(svg("path", { class: "view", d: `M${x} ${y}L${edge(-half)}L${edge(half)}Z` }));
          parts.push(svg("path", { class: "sight", d: `M${x} ${y}L${edge(0)}` }));
        } else if (body.half_view !== null) {
          const look = body.looks[n], far = Math.max(W, H) / 1000;
          parts.push(svg("line", { class: "sight", x1: x, y1: y, x2: x + look[a] * far, y2: y - look[b] * far }));
        }
        parts.push(svg("path", { class: "chain", d }), svg("circle", { class: "body", cx: x, cy: y, r: 6 }), svg("text", { x: x + 10, y: y - 8 }, body.name));
      }
      moving.replaceChildren(...parts);
    });
  }
  function picture() {
    const p = S.picture;
    if (!p) { $("picture_figure").hidden = true; return; }
    const [w, h] = p.size, k = 640 / w, s = svg("svg", { viewBox: `-20 -20 680 ${h * k + 40}`, role: "img", "aria-label": "the picture" });
    $("picture_name").textContent = `The picture as ${p.camera} sees it, ${w} x ${h} pixels`;
    s.append(svg("rect", { class: "frame", x: 0, y: 0, width: 640, height: h * k }));
    const moving = svg("g");
    s.append(moving);
    $("picture").replaceChildren(s);
    views.push((n) => {
      const parts = [];
      for (const [name, ends] of p.rods) if (ends[n]) parts.push(svg("line", { class: "rod", x1: ends[n][0] * k, y1: ends[n][1] * k, x2: ends[n][2] * k, y2: ends[n][3] * k, "data-rod": name }));
      for (const [name, at] of p.points) {
        if (!at[n]) continue;
        parts.push(svg("circle", { class: "body", cx: at[n][0] * k, cy: at[n][1] * k, r: 5 }), svg("text", { x: at[n][0] * k + 9, y: at[n][1] * k - 7 }, name));
      }
      moving.replaceChildren(...parts);
    });
  }
  function show(frame) {
    state.frame = frame;
    $("frame").value = String(frame);
    $("frame_text").textContent = String(frame);
    for (const draw of views) draw(frame - D.first);
    moveNow();
  }
  let playing = null;
  function play() {
    if (playing !== null) { clearInterval(playing); playing = null; $("play").textContent = "Play"; return; }
    if (state.frame >= D.last) show(D.first);
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    $("play").textContent = "Stop";
    playing = setInterval(() => { if (state.frame >= D.last) play(); else show(state.frame + 1); }, calm ? 500 : 1000 / 24);
  }

  D.passes.forEach((p, i) => {
    const option = html("option", "", `${p.name}, ${p.held ? "held" : "moving"}, ${p.pace} s per frame`);
    option.value = String(i);
    $("pass").append(option);
  });
  $("pass").addEventListener("change", () => { state.pass = Number($("pass").value); drawMap(); drawCurves(); });
  document.addEventListener("keydown", (e) => { if (e.key === "Escape") { state.axis = null; drawMap(); drawCurves(); } });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawMap);
  $("frame").min = String(D.first);
  $("frame").max = String(D.last);
  $("frame").addEventListener("input", () => show(Number($("frame").value)));
  $("play").addEventListener("click", play);
  // An exceeded limit is shown first.
  const worst = D.passes.findIndex((p) => p.over.length > 0);
  if (worst >= 0) { state.pass = worst; state.axis = D.passes[worst].over[0].axis; $("pass").value = String(worst); state.frame = Math.min(D.last, Math.max(D.first, Math.round(D.passes[worst].over[0].from))); }
  $("stage").hidden = !S;
  if (S) { view("plan", 0, 2, false, "the stage from above"); view("side", 2, 1, true, "the stage from the side"); picture(); }
  drawMap();
  drawCurves();
  show(state.frame);
  document.documentElement.dataset.ready = (performance.now() - began).toFixed(1);
})();
