"use strict";
// Moves keys on the curves: what a key would do is tried while it is moved, and written when it is let go. Texts only ever become textContent.
(() => {
  const $ = (id) => document.getElementById(id);
  const token = location.hash.slice(1);
  /** Edits that take others back, as they are sent. */
  const undo = [], redo = [];
  /** Fingerprints that files had before edits of this page, by their names. */
  const own = new Map();
  let now = null, move = null, busy = false, focused = null, trouble = "";

  const say = (text, wrong) => { $("edit_text").textContent = text; $("edit_text").classList.toggle("over", Boolean(wrong)); };
  const limits = (text, over) => { $("edit_limits").textContent = text; $("edit_limits").classList.toggle("over", Boolean(over)); };
  const number = (x) => String(Number(x.toPrecision(12)));
  async function ask(path, body) {
    try {
      const headers = { Authorization: `Bearer ${token}`, "Content-Type": "application/json" };
      const answer = await fetch(path, { method: "POST", headers, body: JSON.stringify(body) });
      return { status: answer.status, text: (await answer.text()).trim() };
    } catch { return { status: 0, text: "the program that serves this page does not answer" }; }
  }

  // --- what is drawn -------------------------------------------------------------------------------------------
  const nameOf = (panel, h) => `${panel.dataset.panel} ${h.track} ${h.key}`;
  const keyAt = (circle) => circle.ownerSVGElement.plot.keys[Number(circle.dataset.key)];
  /** The largest power of ten that is no more than a pixel: what a drag snaps to. Arrow keys move by a tenth of it. */
  const grain = (panel) => 10 ** Math.floor(Math.log10((panel.plot.range[1] - panel.plot.range[0]) / panel.plot.height));
  function advice() {
    if (move || busy || !now) return;
    // What was refused stays to be read until the next key is taken.
    if (trouble) return say(trouble, true);
    if (!token) return say("To edit, open the address that the program printed: its part after # is missing here.", true);
    if (!now.files) return say("This shot has more keys than can be shown for dragging.");
    const panel = [...document.querySelectorAll("#curves svg")].find((s) => s.plot.keys.some((k) => k.track !== undefined && !k.fixed));
    say(panel ? `Drag the filled keys. Arrow keys move the selected key: left and right by 1 frame, up and down by ${number(grain(panel) / 10)} ${panel.plot.unit}.` : "No key here can be dragged; point at a key to see why.");
  }
  document.addEventListener("drawn", (e) => {
    // The files as they are when these keys are drawn: places belong to them.
    now = { ...e.detail, files: e.detail.D.files };
    now.state.outdated = outdated;
    $("edit").hidden = false;
    for (const circle of document.querySelectorAll("#curves circle[data-key]")) {
      const panel = circle.ownerSVGElement, h = keyAt(circle);
      if (h.track === undefined) continue;
      const free = token && !h.fixed, text = `key at frame ${number(h.frame)}, ${number(h.value)} ${panel.plot.unit}`;
      const title = document.createElementNS(circle.namespaceURI, "title");
      title.textContent = free ? text : `${text}: ${h.fixed ?? "not editable"}`;
      circle.append(title);
      circle.classList.add(free ? "free" : "fixed");
      if (!free) continue;
      circle.setAttribute("r", 6);
      circle.setAttribute("tabindex", 0);
      circle.setAttribute("role", "button");
      circle.setAttribute("aria-label", text);
      if (move && move.name === nameOf(panel, h)) label(circle, panel);
      if (focused === nameOf(panel, h) && document.activeElement !== circle) circle.focus({ preventScroll: true });
    }
    advice();
  });
  /** Frame and value beside the key that is moved. */
  function label(circle, panel) {
    const text = document.createElementNS(circle.namespaceURI, "text"), [x, y] = ["cx", "cy"].map((k) => Number(circle.getAttribute(k))), late = x > now.across.W / 2;
    for (const [k, v] of [["x", x + (late ? -10 : 10)], ["y", y < 48 ? y + 22 : y - 10], ["text-anchor", late ? "end" : "start"], ["class", "beside"]]) text.setAttribute(k, v);
    text.textContent = `frame ${number(move.frame)}, ${number(move.value)} ${panel.plot.unit}`;
    panel.append(text);
  }

  // --- what is shown while a key is moved ----------------------------------------------------------------------
  let before = null;
  /** Axes, channels and limits as they would be. */
  function show(t) {
    const { D, mapRow } = now, pass = D.passes[t.pass], judged = ["position", "velocity", "acceleration", "jerk", "step_rate", "torque"];
    before ??= { axes: [...D.axes], channels: [...D.channels], pass, usage: [...pass.usage], over: pass.over };
    for (const c of t.channels) D.channels[D.channels.findIndex((o) => o.name === c.name)] = c;
    t.axes.forEach((one, n) => {
      const i = D.axes.findIndex((a) => a.name === one.name);
      D.axes[i] = one;
      pass.usage[i] = t.usage[n];
      pass.over = [...pass.over.filter((o) => o.axis !== i || !judged.includes(o.limit)), ...t.over.filter((o) => o.axis === i)];
      document.querySelector(`#map .row[data-axis="${i}"]`)?.replaceWith(mapRow(i));
    });
    now.drawCurves();
  }
  /** What was tried stays or goes; what came meanwhile is taken up. */
  function settle(kept) {
    const { D, state } = now, changed = before !== null;
    if (changed && !kept) { D.axes = before.axes; D.channels = before.channels; before.pass.usage = before.usage; before.pass.over = before.over; }
    before = null;
    state.frozen = null;
    const list = state.waiting.splice(0).filter((fresh) => !outdated(fresh));
    list.forEach(now.adopt);
    if (changed && list.length === 0) { now.drawMap(); now.drawCurves(); }
  }
  /** True for what was read before an edit of this page. */
  const outdated = (fresh) => Boolean(fresh.files?.some((f) => own.get(f.name)?.has(f.seen)));

  // --- one key on the move -------------------------------------------------------------------------------------
  function take(circle) {
    const panel = circle.ownerSVGElement, h = keyAt(circle), file = now.files[h.file];
    trouble = "";
    const { W, left, right, x } = now.across, { range, height } = panel.plot, unit = W / panel.getBoundingClientRect().width;
    move = {
      name: nameOf(panel, h), h, grain: grain(panel), frame: h.frame, value: h.value, unit: panel.plot.unit, file: file.name, seen: file.seen, pass: now.state.pass, fresh: false,
      perX: ((x[1] - x[0]) / (W - left - right)) * unit, perY: ((range[1] - range[0]) / height) * unit,
    };
    now.state.frozen = { panel: panel.dataset.panel, range, x };
    document.body.classList.add("held");
  }
  /** Frame and value so far from where it was: whole frames between the neighbours, whole grains. */
  function place(frames, value, grain) {
    const { h } = move, [least, most] = h.within, f = Math.round(h.frame + frames);
    const to = Math.abs(frames) < 0.5 || least > most ? h.frame : Math.min(most ?? f, Math.max(least ?? f, f));
    const decimals = Math.max(0, Math.ceil(-Math.log10(grain)), (String(h.value).split(".")[1] ?? "").length);
    const v = Number((h.value + Math.round(value / grain) * grain).toFixed(Math.min(20, decimals)));
    if (to === move.frame && v === move.value) return;
    Object.assign(move, { frame: to, value: v, fresh: true, at: performance.now() });
    say(`frame ${number(to)}, ${number(v)} ${move.unit}`);
    follow();
  }
  const body = (m) => ({ file: m.file, seen: m.seen, line: m.h.line, column: m.h.column, frame: m.frame, value: m.value, pass: m.pass });
  let asking = false;
  /** Tries the newest place, one at a time. */
  async function follow() {
    if (asking) return;
    asking = true;
    while (move?.fresh) {
      const mine = move, { at } = mine;
      mine.fresh = false;
      const answer = await ask("/try", body(mine));
      if (move !== mine) break;
      if (answer.status !== 200) { say(answer.text, true); continue; }
      const t = JSON.parse(answer.text), tightest = (all) => all.toSorted((a, b) => b.used - a.used).slice(0, 1);
      // Of several axes each its tightest limit.
      limits("During exposures: " + (t.axes.length === 1 ? t.limits[0].map((l) => l.text).join("; ") : t.axes.flatMap((a, i) => tightest(t.limits[i]).map((l) => `${a.name}: ${l.text}`)).join("; ")), t.over.length);
      show({ ...t, pass: mine.pass });
      document.documentElement.dataset.tried = (performance.now() - at).toFixed(1);
    }
    asking = false;
    if (move?.fresh) follow();
  }
  async function drop(write) {
    const mine = move;
    if (!mine) return;
    clearTimeout(mine.timer);
    move = null;
    document.body.classList.remove("held");
    limits("");
    const changed = mine.frame !== mine.h.frame || mine.value !== mine.h.value;
    const kept = write && changed && (await send(body(mine), (back) => { undo.push(back); redo.length = 0; }));
    settle(kept);
    if (kept || !changed || !write) advice();
  }
  /** Has an edit written; what takes it back goes to `then`. */
  async function send(edit, then) {
    busy = true;
    const answer = await ask("/edit", edit);
    busy = false;
    if (answer.status === 200) {
      const a = JSON.parse(answer.text), [frame, value] = a.before.map((t) => Number(t.replaceAll("_", "")));
      const past = own.get(a.file) ?? new Set();
      own.set(a.file, past.add(edit.seen));
      past.delete(a.seen);
      if (a.keys) {
        now.D.files = a.keys.files;
        for (const owner of [...now.D.axes, ...now.D.channels]) if (owner.handles) owner.handles = a.keys.handles[owner.name] ?? [];
        now.drawCurves();
      }
      then({ file: a.file, seen: a.seen, line: a.line, column: a.column, frame, value, texts: a.before });
      trouble = "";
    } else say((trouble = answer.text), true);
    $("undo").disabled = undo.length === 0;
    $("redo").disabled = redo.length === 0;
    return answer.status === 200;
  }
  async function back(from, to) {
    if (move) return drop(false);
    while (busy) await new Promise((go) => setTimeout(go, 20));
    if (from.length === 0) return;
    const edit = from.pop();
    const done = await send(edit, (inverse) => to.push(inverse));
    // What could not be taken back now never can: its file is another one.
    if (!done) { undo.length = redo.length = 0; $("undo").disabled = $("redo").disabled = true; } else say(`${edit.file}: the key is at frame ${number(edit.frame)}, ${number(edit.value)}`);
  }

  // --- hands ---------------------------------------------------------------------------------------------------
  const curves = $("curves");
  let pointer = null;
  const free = (e) => e.target.closest?.("circle.free");
  curves.addEventListener("pointerdown", (e) => {
    const circle = free(e);
    if (!circle || busy || e.button !== 0) return;
    if (move) { drop(true); return; }
    take(circle);
    pointer = { x: e.clientX, y: e.clientY };
    focused = move.name;
    curves.setPointerCapture(e.pointerId);
    e.preventDefault();
  });
  curves.addEventListener("pointermove", (e) => { if (move && pointer) place((e.clientX - pointer.x) * move.perX * move.h.rate, (pointer.y - e.clientY) * move.perY, move.grain); });
  curves.addEventListener("pointerup", () => { if (pointer) { pointer = null; drop(true); } });
  curves.addEventListener("pointercancel", () => { if (pointer) { pointer = null; drop(false); } });
  document.addEventListener("focusin", (e) => { const circle = free(e); focused = circle ? nameOf(circle.ownerSVGElement, keyAt(circle)) : null; });
  /** Without a pointer a key is let go when no arrow key is pressed for a while. */
  const REST = 700;
  curves.addEventListener("keydown", (e) => {
    const circle = free(e), by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
    if (!circle || busy || pointer || (!by && e.key !== "Enter") || e.ctrlKey || e.metaKey || e.altKey) return;
    e.preventDefault();
    e.stopPropagation();
    if (!by) { drop(true); return; }
    if (!move) { take(circle); move.by = [0, 0]; }
    move.by = [move.by[0] + by[0], move.by[1] + by[1]];
    place(move.by[0], (move.by[1] * move.grain) / 10, move.grain / 10);
    clearTimeout(move.timer);
    move.timer = setTimeout(() => drop(true), REST);
  });
  addEventListener("keydown", (e) => {
    if (e.key === "Escape" && move) { pointer = null; drop(false); } else if ((e.ctrlKey || e.metaKey) && e.key.toLowerCase() === "z") {
      if (e.shiftKey) back(redo, undo); else back(undo, redo);
    } else return;
    e.preventDefault();
    e.stopPropagation();
  }, true);
  $("undo").addEventListener("click", () => back(undo, redo));
  $("redo").addEventListener("click", () => back(redo, undo));
})();
