"use strict";
// Draws what a figure's group carries below the curves of its axes: swing, shares of three wires, rest of held frames. Texts from the data only ever become textContent.
document.addEventListener("drawn", ({ detail: { D, state, across, svg, shown } }) => {
  const axis = D.axes[state.axis], pass = D.passes[state.pass], own = (pass.loads ?? []).find((l) => l.group === axis.name.split(".")[0]);
  if (!own) return;
  const { W, left, right, narrow, X, x: [first, last] } = across, H = 170, top = 26, bottom = 12;
  const inside = (list) => list.filter((p) => first <= p[0] && p[0] <= last);
  /** A panel of curves [{ class, points, name, over }], each point a frame and a value; `limit` is a line with its text, `value` says what stands at a frame. */
  function panel(id, name, unit, curves, limit, value) {
    const s = svg("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": `${name} of ${own.group}` }), all = curves.flatMap((c) => c.points.map((p) => p[1]));
    const least = Math.min(...all), most = Math.max(...all), near = limit && Math.abs(limit.at - (least + most) / 2) <= 2.5 * Math.max(most - least, Math.abs(most));
    let low = Math.min(least, 0), high = near ? Math.max(most, limit.at) : most;
    if (near) low = Math.min(low, limit.at);
    if (!(high > low)) high = low + 1;
    const pad = 0.06 * (high - low), Y = (y) => top + ((high + pad - y) / (high - low + 2 * pad)) * (H - top - bottom);
    s.dataset.panel = id;
    s.plot = { keys: [], unit, range: [low - pad, high + pad], height: H - top - bottom };
    s.valueAt = value;
    for (const edge of [D.first - 0.5, D.last + 0.5]) s.append(svg("line", { class: "cut", x1: X(edge), x2: X(edge), y1: top, y2: H - bottom }));
    s.append(svg("line", { class: "axis", x1: left, x2: W - right, y1: Y(0), y2: Y(0) }));
    const over = curves.some((c) => c.over), beside = [];
    if (limit) {
      const y = near ? Y(limit.at) : top;
      s.append(svg("line", { class: near ? (over ? "limit over" : "limit") : "limit far", x1: left, x2: W - right, y1: y, y2: y }));
      beside.push([y + 5, near ? limit.text : `${limit.text}, above`, "soft"]);
    }
    for (const c of curves) {
      const d = (of) => { let t = "", down = false; for (const p of of) { if (p) t += `${down ? "L" : "M"}${X(p[0]).toFixed(1)} ${Y(p[1]).toFixed(1)}`; down = Boolean(p); } return t; };
      s.append(svg("path", { class: c.class, d: d(c.points) }));
      // One point alone has no length: it is drawn to where its neighbours are half way.
      if (c.over) s.append(svg("path", { class: "curve over", "stroke-linecap": "round", d: d(c.points.flatMap((p, i) => (c.over(p, i) ? [p, p] : [null]))) }));
      if (c.name) beside.push([Y(c.points[c.points.length - 1][1]) + 5, c.name, c.over ? "beside over" : "beside"]);
    }
    s.append(svg("text", { x: 0, y: 15 }, `${name}, ${unit}`));
    s.append(svg("text", { class: "soft", x: left - 6, y: Y(most) + 5, "text-anchor": "end" }, shown(most)));
    if (Math.abs(Y(least) - Y(most)) > 18) s.append(svg("text", { class: "soft", x: left - 6, y: Y(least) + 5, "text-anchor": "end" }, shown(least)));
    // Names beside the curves keep a line's distance from each other.
    beside.sort((a, b) => a[0] - b[0]);
    let y = -Infinity, off = 0;
    const rows = beside.map((b) => { y = Math.max(b[0], y + 17); off += (y - b[0]) / beside.length; return y; });
    // Half of them move up for what the others move down; none leaves the drawing.
    const up = Math.min(Math.max(off, y - (H - 4)), (rows[0] ?? 0) - top);
    if (!narrow) beside.forEach(([, text, kind], i) => s.append(svg("text", { class: kind, x: W - right + 8, y: rows[i] - up }, text)));
    s.append(svg("line", { class: "now", x1: 0, x2: 0, y1: top, y2: H - bottom }), svg("text", { class: "value", x: W, y: 15, "text-anchor": "end" }));
    document.getElementById("curves").append(s);
    return { s, Y };
  }
  const mode = (c) => (c.mode ? ` (mode ${c.mode})` : "");
  for (const c of own.swings) {
    const [from, to] = c.span, step = (to - from) / c.most.length, at = (list) => list.map((y, i) => [from + (i + 0.5) * step, y]);
    const part = (n) => Math.min(c.most.length - 1, Math.max(0, Math.floor((n - from) / step)));
    const points = inside(at(c.most)), exposed = inside(at(c.exposed));
    if (!points.length) continue;
    const over = c.over ? (_, i) => exposed[i][1] > c.limit : undefined;
    const limit = c.limit === null ? null : { at: c.limit, text: `limit ${shown(c.limit)}` };
    const { s, Y } = panel("swing", `swing${mode(c)}${narrow ? "" : ", greatest near each frame"}`, "mm", [{ class: "curve", points, over }], limit, (n) => `frame ${n}: ${shown(c.most[part(n)])}`);
    s.append(svg("circle", { class: "key", cx: X(c.peak[0]), cy: Y(c.peak[1]), r: 4 }));
    const late = c.peak[0] > (first + last) / 2;
    s.append(svg("text", { class: "beside", x: X(c.peak[0]) + (late ? -9 : 9), y: Math.max(top + 12, Y(c.peak[1]) + 5), "text-anchor": late ? "end" : "start" }, `${shown(c.peak[1])} mm exposed`));
  }
  for (const c of own.settling) {
    const list = (of) => c.frames.map((n, i) => [n, of[i]]), needs = list(c.needs.map((n) => n ?? 3600)), rests = list(c.rests);
    const over = c.over ? (p, i) => p[1] > rests[i][1] : undefined;
    const at = (n) => c.frames.reduce((best, f, i) => (Math.abs(f - n) < Math.abs(c.frames[best] - n) ? i : best), 0);
    const text = (n) => { const i = at(n); return `frame ${n}: rests ${shown(c.rests[i])}, needs ${c.needs[i] === null ? "more than an hour" : shown(c.needs[i])}`; };
    panel("settling", narrow ? "settle" : `settling${mode(c)}`, "s", [{ class: "curve second", points: inside(rests), name: "rests" }, { class: "curve", points: inside(needs), over, name: "needs" }], null, text);
  }
  if (own.wires) {
    const w = own.wires, index = w.frames.map((n, i) => [n, i]).filter(([n]) => first <= n && n <= last);
    const curves = w.shares.map((shares, k) => ({ class: ["curve", "curve second", "curve third"][k], points: index.map(([n, i]) => [n, 100 * shares[i]]), name: `wire ${k + 1}`, over: w.over[k] ? (p) => p[1] < 100 * w.least_tension : undefined }));
    const at = (n) => w.frames.reduce((best, f, i) => (Math.abs(f - n) < Math.abs(w.frames[best] - n) ? i : best), 0);
    if (index.length) panel("wires", narrow ? "on wires" : "share of the weight on each wire", "%", curves, { at: 100 * w.least_tension, text: `least ${shown(100 * w.least_tension)}` }, (n) => `frame ${n}: ${w.shares.map((s) => shown(100 * s[at(n)])).join(", ")}`);
  }
});
