"use strict";
// Draws the page from its data. Texts from the data only ever become textContent.
(() => {
  const began = performance.now();
  let D = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const SVG = "http://www.w3.org/2000/svg";
  let frames = D.last - D.first + 1;
  const state = { pass: 0, axis: null, frame: D.first, frozen: null, waiting: [] };

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
  /** A figure; what is less than `none` is 0. */
  const shown = (x, none = 0) => {
    const a = Math.abs(x);
    if (!(a > Math.max(1e-15, none))) return "0";
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

  // --- the stop after a fault: how far an axis runs on upwards; see motion::stop for where it comes from ---------------
  function runsOn([most, limit, jerk], v, a) {
    const fastest = Math.max(most, v), slowest = Math.min(-most, v), r = D.reaction, after = v + a * r;
    const [until, then] = after > fastest ? [(fastest - v) / a, fastest] : after < slowest ? [(slowest - v) / a, slowest] : [r, after];
    const end = until * (v + 0.5 * a * until) + (r - until) * then, turns = v > 0 && then < 0 ? (0.5 * v * v) / -a : 0;
    return Math.max(end, turns, 0, end + farthest(limit, jerk, then, a));
  }
  function farthest(limit, j, v, a) {
    if (v + (0.5 * a * Math.abs(a)) / j < 0) {
      if (!(v > 0)) return 0;
      const turn = (2 * v) / (-a + Math.sqrt(Math.max(0, a * a - 2 * j * v)));
      return turn * (v + turn * (0.5 * a + (turn * j) / 6));
    }
    const t = a < -limit ? (-limit - a) / j : 0, led = t * (v + t * (0.5 * a + (t * j) / 6));
    [v, a] = [v + t * (a + 0.5 * j * t), a + j * t];
    const c = v + (0.5 * a * a) / j, free = Math.sqrt(Math.max(0, j * c)), peak = Math.min(free, limit), holds = free > limit ? (c - (limit * limit) / j) / limit : 0;
    return Math.max(0, led + (c * (a + peak)) / j - (a * a * a) / (6 * j * j) + 0.5 * c * holds);
  }
  /** Where an axis would come to stand, at these points of it: sampled, for drawing only. */
  const stops = (axis, all) => all.map(([t, p, v, a]) => [t, p - runsOn(axis.limits, -v, -a), p + runsOn(axis.limits, v, a)]);

  // --- the map -----------------------------------------------------------------------------------------------
  // The map itself shows where a curve is over; what it does not shade (torque, clearance, a run-up) is marked by its span.
  const SHADED = ["position", "velocity", "acceleration", "jerk", "step_rate"];
  function mapRow(i) {
    const pass = D.passes[state.pass], axis = D.axes[i], usage = pass.usage[i], marks = new Set();
    for (const o of pass.over)
      if (o.axis === i && (!SHADED.includes(o.limit) || !usage.some((u) => u > 1000))) for (let n = Math.max(D.first, Math.floor(o.from + 0.5)); n <= Math.min(D.last, Math.floor(Math.max(o.from, o.to) + 0.5)); n++) marks.add(n - D.first);
    const shade = colour("--shade"), accent = colour("--accent"), paper = colour("--paper");
    const most = Math.max(...usage), over = most > 1000 || marks.size > 0;
    const row = html("div", over ? "row over" : "row");
    row.setAttribute("role", "option");
    row.setAttribute("aria-selected", String(state.axis === i));
    row.tabIndex = i === (state.axis ?? 0) ? 0 : -1;
    row.dataset.axis = String(i);
    row.append(html("span", "name", axis.name));
    row.append(html("span", "most", pass.parked.includes(i) ? "parked" : (most / 10).toFixed(1) + " %"));
    const canvas = html("canvas");
    canvas.width = Math.max(frames, 1000);
    canvas.height = 16;
    const c = canvas.getContext("2d"), w = canvas.width / frames;
    usage.forEach((u, n) => {
      const x = Math.floor(n * w), wide = Math.max(1, Math.floor((n + 1) * w) - x);
      if (u > 1000 || marks.has(n)) {
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
    return row;
  }
  function drawMap() {
    $("pass_name").textContent = `Pass ${D.passes[state.pass].name}.`;
    const list = html("div");
    list.setAttribute("role", "listbox");
    list.setAttribute("aria-label", "axes");
    list.append(...D.axes.map((_, i) => mapRow(i)));
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
    $("map").replaceChildren(list, scale);
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

  // --- texts that keep out of each other's way ---------------------------------------------------------------
  const measure = document.createElement("canvas").getContext("2d");
  measure.font = "14px system-ui, sans-serif";
  /** Places for labels in a drawing: the first spot round an anchor that is free and within the drawing; none where all are taken. */
  function placer(width, height) {
    const taken = [];
    return (x, y, text) => {
      const w = measure.measureText(text).width * 1.06 + 6, h = 18;
      for (const far of [0, 1, 2, 3, 4])
        for (const [dx, dy] of [[9, -8], [9, 20], [-9 - w, -8], [-9 - w, 20], [-w / 2, -14], [-w / 2, 28]]) {
          const left = x + dx, top = y + dy + Math.sign(dy) * far * 18 - 14, box = [left, top, left + w, top + h];
          const fits = left >= 0 && top >= 0 && left + w <= width && top + h <= height;
          if (fits && !taken.some((t) => box[0] < t[2] && t[0] < box[2] && box[1] < t[3] && t[1] < box[3])) {
            taken.push(box);
            return svg("text", { x: left, y: top + 14 }, text);
          }
        }
      return null;
    };
  }
  const wide = (id) => Math.max(300, Math.floor($(id).clientWidth || 640));

  // --- one axis ----------------------------------------------------------------------------------------------
  const NAMES = ["position", "velocity", "acceleration", "jerk"];
  let across = null;
  function drawCurves() {
    const section = $("axis");
    section.hidden = state.axis === null;
    if (state.axis === null) return;
    const axis = D.axes[state.axis], pass = D.passes[state.pass], u = axis.unit;
    const units = [u, u + "/s", u + "/s2", u + "/s3"];
    $("axis_name").textContent = `${axis.name}, pass ${pass.name}`;
    const parked = pass.parked.includes(state.axis), W = wide("curves"), narrow = W < 700;
    const left = narrow ? 98 : 110, right = narrow ? 12 : 130;
    const [x0, x1] = state.frozen?.x ?? [axis.knots[0], axis.knots[axis.knots.length - 1]];
    across = { x: [x0, x1], W, left, right, narrow, X: (t) => left + ((t - x0) / (x1 - x0)) * (W - left - right) };
    const panels = parked ? [] : pass.held ? [0] : [0, 1, 2, 3];
    const all = parked ? [] : points(axis, pass.pace, 1000);
    // As it was: at its own pace, and where this pass is new, at this one's.
    const old = D.before?.axes.find((a) => a.name === axis.name), was = old ? points(old, D.before.passes.find((p) => p[0] === pass.name)?.[1] ?? pass.pace, 1000) : [];
    const drawn = panels.map((k) => {
      const [lower, upper] = k === 0 ? axis.travel : [-axis.limits[k - 1], axis.limits[k - 1]];
      return panel({ name: NAMES[k], unit: units[k], of: axis.name, order: k, band: k === 0 && !pass.held ? stops(axis, all) : [], points: all.map((p) => [p[0], p[k + 1]]), before: was.map((p) => [p[0], p[k + 1]]), lower, upper, keys: k === 0 ? marks(axis) : [], height: k === 0 ? 230 : 170, foot: k === 0 }, pass);
    });
    for (const i of parked ? [] : axis.channels) {
      const c = D.channels[i], before = D.before?.channels.find((o) => o.name === c.name)?.values.map((v, n) => [D.before.first + n, v]) ?? [];
      drawn.push(panel({ name: c.name, unit: c.unit, of: c.name, channel: i, order: 0, band: inFocus(c, pass), points: c.values.map((v, n) => [D.first + n, v]), before, lower: -Infinity, upper: Infinity, keys: marks(c), height: 170, foot: true }, pass));
    }
    $("curves").replaceChildren(...drawn);
    const over = pass.over.filter((o) => o.axis === state.axis).map((o) => o.message);
    const made = axis.channels.length ? " Below are the channels that a mechanism makes this axis from, frame by frame." + (axis.channels.some((i) => D.channels[i].name === pass.sharp?.channel) ? ` Shaded beside the focus: what is in focus at f/${pass.sharp.f_number}, drawn up to twice the greatest distance.` : "") : "";
    $("axis_text").textContent = parked ? "Parked at home in this pass." :
      (pass.held ? "Held: the axis stops for each exposure and moves to the next position in between. Circles are keys." : "Circles are keys; bars show when the shutter is open. Shaded beside the position: where the axis would come to rest after a fault.") + (was.length ? " Grey: as it was." : "") + made + " " + over.join(" ");
    document.dispatchEvent(new CustomEvent("drawn", { detail: { D, state, across, mapRow, drawMap, drawCurves, adopt, svg, shown } }));
    moveNow();
  }
  /** Between what everything is in focus, at the stop of the pass; far behind the focus the band ends at twice its greatest distance. */
  function inFocus(c, pass) {
    if (pass.sharp?.channel !== c.name) return [];
    const most = 2 * Math.max(...c.values);
    return pass.sharp.near.map((y, n) => [D.first + n, y, Math.min(pass.sharp.far[n] ?? most, most)]);
  }
  /** Keys as they are marked, those that can be dragged last: they lie on top. */
  const marks = (of) => (of.handles ? [...of.handles].sort((a, b) => Boolean(b.fixed) - Boolean(a.fixed)) : of.keys.map((film) => ({ film })));
  /** One curve. Name and value stand above it, figures of the curve on its left, limits on its right: none can meet. */
  function panel(q, pass) {
    const { W, left, right, narrow, X } = across, H = q.height, top = 26, bottom = q.foot ? 34 : 12;
    const { lower, upper } = q, all = q.points;
    let least = Infinity, most = -Infinity;
    for (const p of all) { least = Math.min(least, p[1]); most = Math.max(most, p[1]); }
    // What is nothing beside the limit is 0, and is not blown up.
    const floor = Number.isFinite(upper) ? 1e-9 * Math.max(Math.abs(upper), Math.abs(lower)) : 1e-12;
    const size = Math.max(most - least, Math.abs(most), Math.abs(least), floor), none = Math.max(1e-6 * size, floor);
    // The plot is scaled to the curve. Limits far off would press it flat: they are lines at the edge.
    const near = (l) => Math.abs(l - (least + most) / 2) <= 2.5 * size;
    let low = near(lower) ? Math.min(least, lower) : least, high = near(upper) ? Math.max(most, upper) : most;
    if (!(high - low > none)) { low -= 1; high += 1; }
    for (const p of q.before) { low = Math.min(low, p[1]); high = Math.max(high, p[1]); }
    for (const p of q.band) { low = Math.min(low, p[1]); high = Math.max(high, p[2]); }
    const pad = 0.06 * (high - low);
    low -= pad; high += pad;
    if (state.frozen?.panel === q.name) [low, high] = [Math.min(low, state.frozen.range[0]), Math.max(high, state.frozen.range[1])];
    const Y = (y) => top + ((high - y) / (high - low)) * (H - top - bottom);
    const s = svg("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": `${q.name} of ${q.of}` });
    s.dataset.panel = q.name;
    s.dataset.order = q.order;
    s.dataset.none = none;
    if (q.channel !== undefined) s.dataset.channel = q.channel;
    s.plot = { keys: q.keys, unit: q.unit, range: [low, high], height: H - top - bottom };
    for (const edge of [D.first - 0.5, D.last + 0.5]) s.append(svg("line", { class: "cut", x1: X(edge), x2: X(edge), y1: top, y2: H - bottom }));
    if (low < 0 && 0 < high && q.order > 0) s.append(svg("line", { class: "axis", x1: left, x2: W - right, y1: Y(0), y2: Y(0) }));
    const over = (y) => y > upper * (upper > 0 ? 1 + 1e-9 : 1) || y < lower * (lower < 0 ? 1 + 1e-9 : 1);
    const isOver = least < lower && over(least) || most > upper && over(most);
    for (const [l, edge, below, side] of [[upper, top, 9, "above"], [lower, H - bottom, -7, "below"]]) {
      if (!Number.isFinite(l)) continue;
      const y = near(l) ? Y(l) : edge;
      s.append(svg("line", { class: !near(l) ? "limit far" : isOver ? "limit over" : "limit", x1: left, x2: W - right, y1: y, y2: y }));
      const text = `limit ${shown(l)}${near(l) ? "" : `, ${side}`}`;
      if (!narrow) s.append(svg("text", { class: "soft", x: W - right + 8, y: y + (near(l) ? 5 : below) }, text));
    }
    const path = (test, of = all) => {
      let d = "", down = false;
      for (const p of of) {
        if (test(p[1])) { d += `${down ? "L" : "M"}${X(p[0]).toFixed(1)} ${Y(p[1]).toFixed(1)}`; down = true; } else down = false;
      }
      return d;
    };
    if (q.band.length) {
      const side = (k, of) => of.map((p) => `${X(p[0]).toFixed(1)} ${Y(p[k]).toFixed(1)}`), area = (of) => `M${side(1, of).concat(side(2, of).reverse()).join("L")}Z`;
      s.append(svg("path", { class: "stop", d: area(q.band) }));
      // What has no room, where the check says so.
      if (pass.over.some((o) => o.axis === state.axis && o.limit === "stopping")) {
        for (const [edge, k, is] of [[upper, 2, (p) => p[2] > upper], [lower, 1, (p) => p[1] < lower]])
          if (q.band.some(is)) s.append(svg("path", { class: "stop over", d: area(q.band.map((p) => { const y = is(p) ? [edge, p[k]] : [edge, edge]; return [p[0], Math.min(...y), Math.max(...y)]; })) }));
      }
    }
    if (q.before.length) s.append(svg("path", { class: "before", d: path(() => true, q.before.filter((p) => p[0] >= all[0][0] && p[0] <= all[all.length - 1][0])) }));
    s.append(svg("path", { class: "curve", d: path(() => true) }));
    if (isOver) s.append(svg("path", { class: "curve over", d: path(over) }));
    s.append(svg("text", { x: 0, y: 15 }, `${q.name}, ${q.unit}`));
    s.append(svg("text", { class: "soft", x: left - 6, y: Y(most) + 5, "text-anchor": "end" }, shown(most, none)));
    if (Math.abs(Y(least) - Y(most)) > 18) s.append(svg("text", { class: "soft", x: left - 6, y: Y(least) + 5, "text-anchor": "end" }, shown(least, none)));
    for (const [i, { film: f }] of q.keys.entries()) {
      if (f < all[0][0] || f > all[all.length - 1][0]) continue;
      s.append(svg("circle", { class: "key", "data-key": i, cx: X(f), cy: Y(q.channel === undefined ? inPiece(D.axes[state.axis], pieceAt(D.axes[state.axis], f), f)[0] : between(q.points, f)), r: 4 }));
    }
    if (q.foot) {
      let d = "";
      for (let n = D.first; n <= D.last; n++) d += `M${X(n - pass.open / 2).toFixed(1)} ${H - bottom + 6}H${X(n + pass.open / 2).toFixed(1)}`;
      s.append(svg("path", { class: "open", d }));
      for (const n of [D.first, D.last]) s.append(svg("text", { class: "soft", x: X(n), y: H - 6, "text-anchor": n === D.first ? "start" : "end" }, `frame ${n}`));
    }
    s.append(svg("line", { class: "now", x1: 0, x2: 0, y1: top, y2: H - bottom }), svg("text", { class: "value", x: W, y: 15, "text-anchor": "end" }));
    return s;
  }
  /** A value between two frames, on the straight line that is drawn there. */
  function between(all, f) {
    const i = Math.min(all.length - 2, Math.max(0, Math.floor(f - all[0][0])));
    return all.length < 2 ? all[0][1] : all[i][1] + (all[i + 1][1] - all[i][1]) * (f - all[i][0]);
  }
  function moveNow() {
    if (state.axis === null || !across) return;
    const axis = D.axes[state.axis], pass = D.passes[state.pass];
    const values = inPiece(axis, pieceAt(axis, state.frame), state.frame), x = across.X(state.frame);
    document.querySelectorAll("#curves svg").forEach((s) => {
      const k = Number(s.dataset.order), line = s.querySelector(".now"), c = s.dataset.channel;
      line.setAttribute("x1", x);
      line.setAttribute("x2", x);
      if (s.valueAt) { s.querySelector(".value").textContent = s.valueAt(state.frame); return; }
      const value = c === undefined ? values[k] / pass.pace ** k : D.channels[Number(c)].values[state.frame - D.first];
      s.querySelector(".value").textContent = `frame ${state.frame}: ${shown(value, Number(s.dataset.none))}`;
    });
  }

  // --- the stage ---------------------------------------------------------------------------------------------
  let S = D.scene;
  let views = [];
  const turn = { yaw: -0.6, pitch: 0.5 };
  /** Places of a body in the pass that is shown, frame by frame or once for all: points of three numbers, one after the other. */
  const course = (body) => body.places[S.sets[state.pass]] ?? body.places[0];
  /** The box that holds everything at all frames, mm; of a camera's view only where it stands. */
  function room() {
    const box = [[Infinity, -Infinity], [Infinity, -Infinity], [Infinity, -Infinity]];
    const take = (p, i, r) => { for (let a = 0; a < 3; a++) { box[a][0] = Math.min(box[a][0], p[i + a] - r); box[a][1] = Math.max(box[a][1], p[i + a] + r); } };
    for (const body of S.bodies)
      for (const own of body.places)
        for (const p of own ?? []) {
          for (let i = 0; i < 3 * body.chain; i += 3) take(p, i, 0);
          body.parts.forEach((part, j) => { for (const end of [0, 3]) take(p, 3 * body.chain + 6 * j + end, part.radius); });
        }
    for (const o of S.still) { take(o.from, 0, o.radius); take(o.to, 0, o.radius); }
    return box;
  }
  let box = S ? room() : null;
  const PLAN = (x, y, z) => [x, z, y], SIDE = (x, y, z) => [z, -y, x];
  function turned() {
    const [cy, sy, cp, sp] = [Math.cos(turn.yaw), Math.sin(turn.yaw), Math.cos(turn.pitch), Math.sin(turn.pitch)];
    return (x, y, z) => { const a = x * cy + z * sy, b = z * cy - x * sy; return [a, b * sp - y * cp, b * cp + y * sp]; };
  }
  /** A view along one direction: `flat` gives right, down and nearness of a place, mm. */
  function view(id, flat, name) {
    let lr = [Infinity, -Infinity], td = [Infinity, -Infinity];
    for (let i = 0; i < 8; i++) {
      const [u, v] = flat(box[0][i & 1], box[1][(i >> 1) & 1], box[2][i >> 2]);
      lr = [Math.min(lr[0], u), Math.max(lr[1], u)]; td = [Math.min(td[0], v), Math.max(td[1], v)];
    }
    const W = wide(id), pad = 26, k0 = (W - 2 * pad) / Math.max(lr[1] - lr[0], 1);
    const H = Math.round(Math.max(120, Math.min(0.9 * W, (td[1] - td[0]) * k0 + 2 * pad)));
    const k = Math.min(k0, (H - 2 * pad) / Math.max(td[1] - td[0], 1));
    const X = (u) => W / 2 + (u - (lr[0] + lr[1]) / 2) * k, Y = (v) => H / 2 + (v - (td[0] + td[1]) / 2) * k;
    const at = (p, i) => { const [u, v, near] = flat(p[i], p[i + 1], p[i + 2]); return [X(u), Y(v), near]; };
    const s = svg("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": name });
    const bar = 10 ** Math.floor(Math.log10(0.4 * (W / k)));
    const still = [];
    for (const o of S.still) {
      if (o.kind === "capsule") {
        const [a, b] = [at(o.from, 0), at(o.to, 0)];
        s.append(svg("line", { class: "still", x1: a[0], y1: a[1], x2: b[0], y2: b[1], "stroke-width": Math.max(2, 2 * o.radius * k) }));
        still.push([b, o.name]);
      } else {
        const c = (i) => at([[o.from, o.to][i & 1][0], [o.from, o.to][(i >> 1) & 1][1], [o.from, o.to][i >> 2][2]], 0);
        let d = "";
        for (const [i, j] of [[0, 1], [2, 3], [4, 5], [6, 7], [0, 2], [1, 3], [4, 6], [5, 7], [0, 4], [1, 5], [2, 6], [3, 7]]) d += `M${c(i)[0]} ${c(i)[1]}L${c(j)[0]} ${c(j)[1]}`;
        s.append(svg("path", { class: "keep_out", d }));
        still.push([c(7), o.name]);
      }
    }
    for (const body of S.bodies) {
      const own = course(body);
      if (own.length === 1) continue;
      const d = own.map((p, i) => { const q = at(p, 3 * (body.chain - 1)); return `${i ? "L" : "M"}${q[0].toFixed(1)} ${q[1].toFixed(1)}`; }).join("");
      s.append(svg("path", { class: "path", d }));
    }
    const moving = svg("g");
    s.append(moving);
    s.append(svg("path", { class: "scale_bar", d: `M8 ${H - 8}h${(bar * k).toFixed(1)}` }));
    $(id).replaceChildren(s);
    return (n) => {
      const parts = [], label = placer(W, H), marked = tight(n);
      // First of all, so that it has its place above the bar.
      const scale = label(-1, H - 5, bar >= 1000 ? `${bar / 1000} m` : `${bar} mm`), names = [scale];
      scale?.setAttribute("class", "soft");
      for (const body of S.bodies) {
        const own = course(body), p = own[own.length === 1 ? 0 : n], here = at(p, 3 * (body.chain - 1)), mark = marked.includes(body.name) ? " tight" : "";
        if (body.camera) {
          const eye = p.slice(3 * (body.chain - 1), 3 * body.chain), far = 0.4 * Math.hypot(...box.map(([a, b]) => b - a)), from = p.length - 12;
          const corner = (i) => at([0, 1, 2].map((a) => eye[a] + ((p[from + 3 * i + a] - eye[a]) * far) / 1000), 0);
          const c = [0, 1, 2, 3].map(corner).map((q) => `${q[0].toFixed(1)} ${q[1].toFixed(1)}`), e = `${here[0].toFixed(1)} ${here[1].toFixed(1)}`;
          parts.push([Infinity, svg("path", { class: "view", d: `M${c[0]}L${c[1]}L${c[2]}L${c[3]}Z` + c.map((q) => `M${e}L${q}`).join("") })]);
        }
        let d = "";
        for (let i = 0; i < body.chain; i++) { const q = at(p, 3 * i); d += `${i ? "L" : "M"}${q[0].toFixed(1)} ${q[1].toFixed(1)}`; }
        parts.push([here[2], svg("path", { class: "chain", d })]);
        for (let i = 0; i + 1 < body.chain; i++) { const q = at(p, 3 * i); parts.push([q[2], svg("rect", { class: "trolley", x: q[0] - 2.5, y: q[1] - 2.5, width: 5, height: 5 })]); }
        body.parts.forEach((part, j) => {
          const i = 3 * body.chain + 6 * j, [a, b] = [at(p, i), at(p, i + 3)];
          const line = { class: part.kind + mark, x1: a[0].toFixed(1), y1: a[1].toFixed(1), x2: b[0].toFixed(1), y2: b[1].toFixed(1), "data-body": body.name };
          if (part.kind === "proxy") line["stroke-width"] = Math.max(1, 2 * part.radius * k).toFixed(1);
          parts.push([(a[2] + b[2]) / 2, svg("line", line)]);
        });
        parts.push([Infinity, svg("circle", { class: "body" + mark, cx: here[0], cy: here[1], r: 3 })]);
        names.push(label(here[0], here[1], D.passes[state.pass].park.includes(body.name) ? `${body.name} (parked)` : body.name));
      }
      for (const [q, text] of still) names.push(label(q[0], q[1], text));
      parts.sort((a, b) => a[0] - b[0]);
      moving.replaceChildren(...parts.map((p) => p[1]), ...names.filter((t) => t));
    };
  }
  /** Bodies that are at their least gap about this frame. */
  function tight(n) {
    return D.passes[state.pass].near.filter((p) => Math.abs(p.frame - D.first - n) <= 0.5).flatMap((p) => p.bodies);
  }
  function drawNear() {
    const rows = D.passes[state.pass].near.map((p) => {
      const row = html("li", p.kept ? "" : "over"), go = html("button", "", `frame ${Math.round(p.frame)}`);
      go.type = "button";
      go.addEventListener("click", () => show(Math.min(D.last, Math.max(D.first, Math.round(p.frame)))));
      row.append(go, " ", p.text);
      return row;
    });
    $("near").replaceChildren(...rows);
    $("near_section").hidden = rows.length === 0;
  }
  function picture() {
    const p = S.picture;
    if (!p) { $("picture_figure").hidden = true; return () => {}; }
    const W = wide("picture"), edge = 26, [w, h] = p.size, k = (W - 2 * edge) / w, H = h * k + 2 * edge;
    const s = svg("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": "the picture" });
    const set = S.sets[state.pass], open = p.shutters[set];
    $("picture_name").textContent = `The picture as ${p.camera} sees it, ${w} x ${h} pixels; outlines of proxies` + (open ? `, light what they sweep at ${shown(open)} deg of shutter` : "") + (D.before?.figures.length ? "; grey lines: as it was" : "");
    const moving = svg("g", { transform: `translate(${edge} ${edge})` });
    s.append(moving, svg("rect", { class: "frame", x: edge, y: edge, width: w * k, height: h * k }));
    $("picture").replaceChildren(s);
    // The first point, then from each point to the next.
    const d = (list, k1 = k) => { let t = "", x = 0, y = 0; for (let i = 0; i < list.length; i += 2) { x += list[i]; y += list[i + 1]; t += `${i ? "L" : "M"}${(x * k1).toFixed(1)} ${(y * k1).toFixed(1)}`; } return t; };
    return (n) => {
      const swept = [], outlines = [], lines = [], names = [], label = placer(w * k, h * k), marked = tight(n);
      for (const f of p.figures) {
        const own = (f.sets[set] ?? f.sets[0])[n], mark = marked.includes(f.name) ? " tight" : "";
        for (const o of own.s ?? []) if (o.length) swept.push(svg("path", { class: "swept", d: d(o) + "Z" }));
        let centre = null;
        for (const o of own.o) if (o.length) {
          outlines.push(svg("path", { class: "outline" + mark, d: d(o) + "Z", "data-figure": f.name }));
          centre = centre ?? [(o[0] * k), (o[1] * k)];
        }
        const kinds = S.bodies.find((b) => b.name === f.name).parts.filter((q) => q.kind !== "proxy");
        own.l.forEach((l, i) => { if (l.length) lines.push(svg("path", { class: kinds[i].kind, d: d(l), "data-rod": f.name })); });
        const at = centre ?? (own.l.length && own.l[0].length ? [own.l[0][0] * k, own.l[0][1] * k] : null);
        if (at && at[0] >= 0 && at[0] <= w * k && at[1] >= 0 && at[1] <= h * k) names.push(label(at[0], at[1], f.name));
      }
      moving.replaceChildren(...before(n), ...swept, ...lines, ...outlines, ...names.filter((t) => t));
    };
    /** Outlines, rods and wires as they were in this frame, at the width of this picture. */
    function before(n) {
      const was = D.before, i = was ? D.first + n - was.first : 0, own = [];
      for (const f of was?.figures ?? []) {
        const then = f.sets[set]?.[i];
        if (then) for (const [list, end] of [[then.o, "Z"], [then.l, ""]]) for (const o of list) if (o.length) own.push(svg("path", { class: "before", d: d(o, (k * w) / was.size[0]) + end, "data-was": f.name }));
      }
      return own;
    }
  }
  function drawStage() {
    if (!S) return;
    views = [view("plan", PLAN, "the stage from above"), view("side", SIDE, "the stage from the side"), view("turned", turned(), "the stage, turned"), picture()];
    drawNear();
    for (const draw of views) draw(state.frame - D.first);
  }
  function turnBy(yaw, pitch) {
    turn.yaw += yaw;
    turn.pitch = Math.min(Math.PI / 2, Math.max(-Math.PI / 2, turn.pitch + pitch));
    views[2] = view("turned", turned(), "the stage, turned");
    views[2](state.frame - D.first);
  }
  let held = null;
  $("turned").addEventListener("pointerdown", (e) => { held = [e.clientX, e.clientY]; $("turned").setPointerCapture(e.pointerId); });
  $("turned").addEventListener("pointermove", (e) => { if (held) { turnBy((held[0] - e.clientX) / 200, (e.clientY - held[1]) / 200); held = [e.clientX, e.clientY]; } });
  for (const end of ["pointerup", "pointercancel"]) $("turned").addEventListener(end, () => { held = null; });
  $("turned").addEventListener("keydown", (e) => {
    const by = { ArrowLeft: [0.1, 0], ArrowRight: [-0.1, 0], ArrowUp: [0, 0.1], ArrowDown: [0, -0.1] }[e.key];
    if (by) turnBy(...by);
    else if (e.key === "Home") { turn.yaw = -0.6; turn.pitch = 0.5; turnBy(0, 0); }
    else return;
    e.preventDefault();
  });
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

  function listPasses() {
    $("pass").replaceChildren(...D.passes.map((p, i) => {
      const option = html("option", "", `${p.name}, ${p.held ? "held" : "moving"}, ${p.pace} s per frame`);
      option.value = String(i);
      return option;
    }));
    $("pass").value = String(state.pass);
    $("frame").min = String(D.first);
    $("frame").max = String(D.last);
  }
  /** Other data, or a part of it, at the same place: pass, axis and frame are kept by their names. */
  function adopt(fresh) {
    const pass = D.passes[state.pass]?.name, axis = state.axis === null ? null : D.axes[state.axis].name;
    if (fresh.passes) D = fresh;
    else {
      const put = (list, one) => { const i = list.findIndex((o) => o.name === one.name); if (i >= 0) list[i] = one; };
      for (const one of fresh.axes) put(D.axes, one);
      D.files = fresh.files ?? D.files;
      for (const one of fresh.bodies) put(D.scene?.bodies ?? [], one);
      // More frames than the verdict knows are drawn with it.
      if (fresh.first !== D.first || fresh.last !== D.last) return;
    }
    frames = D.last - D.first + 1;
    S = D.scene;
    box = S ? room() : null;
    state.pass = Math.max(0, D.passes.findIndex((p) => p.name === pass));
    const i = D.axes.findIndex((a) => a.name === axis);
    state.axis = i < 0 ? null : i;
    state.frame = Math.min(D.last, Math.max(D.first, state.frame));
    $("stage").hidden = !S;
    listPasses();
    drawMap();
    drawCurves();
    drawStage();
    show(state.frame);
  }
  // What is new waits while a key is moved, and is passed over where the page has edited on.
  document.addEventListener("fresh", (e) => { if (!state.outdated?.(e.detail)) (state.frozen ? state.waiting.push(e.detail) : adopt(e.detail)); });
  listPasses();
  $("pass").addEventListener("change", () => { state.pass = Number($("pass").value); drawMap(); drawCurves(); drawStage(); });
  document.addEventListener("keydown", (e) => { if (e.key === "Escape") { state.axis = null; drawMap(); drawCurves(); } });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawMap);
  let width = innerWidth;
  addEventListener("resize", () => { if (innerWidth !== width) { width = innerWidth; drawCurves(); drawStage(); } });
  $("frame").addEventListener("input", () => show(Number($("frame").value)));
  $("play").addEventListener("click", play);
  // An exceeded limit is shown first.
  const worst = D.passes.findIndex((p) => p.over.length > 0);
  if (worst >= 0) { state.pass = worst; state.axis = D.passes[worst].over[0].axis; $("pass").value = String(worst); state.frame = Math.min(D.last, Math.max(D.first, Math.round(D.passes[worst].over[0].from))); }
  $("stage").hidden = !S;
  drawMap();
  drawCurves();
  drawStage();
  show(state.frame);
  document.documentElement.dataset.ready = (performance.now() - began).toFixed(1);
})();
