// Laps laid over each other: one canvas for the lines, one above it for the
// cursor, two for the map. Lines are thinned to the least and greatest value of
// each column of pixels, so that six hundred thousand points cost no more than
// the screen holds; the cursor repaints only the strip that it leaves.
//
// The data: four bytes "CWT1", the length of the head (uint32, little-endian),
// the head as JSON padded to four bytes, then for each lap, for each channel,
// head.points float32 at even places from head.start_m on, NaN where there is
// none. Channel 0 is the time since the lap (or the turn's window) began.
"use strict";
(function () {
  const box = document.getElementById("traces");
  if (!box) return;

  const LEFT = 52, RIGHT = 118, TOP = 20, GAP = 9, AXIS = 24, LANE = 8;
  const STRONG = 4;      // so many laps or fewer are all drawn strong
  const MARK_EVERY = 150; // px between the marks on a strong line
  const TABLE_EVERY = 90; // ms between two refreshes of the table: no eye reads faster
  const phone = () => box.clientWidth < 560;

  /** @type {{start_m:number,step_m:number,points:number,length_m:number,turn:string,laps:any[],channels:any[],map:number[][],map_m:number[],turns:any[],phases:any[],episodes:any[]}} */
  let head;
  let values = [];        // values[lap][channel]: Float32Array
  let panels = [];        // {name, unit, digits, lo, hi, data[lap], h, y}
  let lanes = null;       // {y, h}: the panel of episodes
  let axis = "m";         // "m" along the lap, or "s" since its start
  let view = [0, 1];      // in the axis' unit
  let full = [0, 1];
  let cursor = NaN;       // in the axis' unit
  let against = 0;        // lap that differences are taken from
  let on = [];            // on[lap]: drawn
  let hidden = new Set(); // names of panels put away
  let lines, over, mapLines, mapOver, stage, table, rows = [], place, said;
  let width = 0, height = 0, ratio = 1, queued = 0, redraw = false, dirty = null, dirtyMap = [], tabled = 0, tableTimer = 0;

  const words = (() => { const e = document.getElementById("words"); try { return e ? JSON.parse(e.textContent) || {} : {}; } catch { return {}; } })();
  /** The text in the language of the page. */
  const t = (s) => words[s] || s;
  const comma = document.documentElement.dataset.decimal === "comma";
  /** A number as the person writes it. */
  const num = (v, d) => { if (v !== v) return "–"; let s = v.toFixed(d); if (/^-0[.0]*$/.test(s)) s = s.slice(1); s = s.replace("-", "−"); return comma ? s.replace(".", ",") : s; };

  let ink = {};
  function inks() {
    const of = getComputedStyle(document.documentElement), css = (n) => of.getPropertyValue(n).trim();
    ink = { ink: css("--ink"), soft: css("--soft"), line: css("--line"), accent: css("--accent"), paper: css("--paper"), wash: css("--wash"), shade: css("--shade") };
  }

  function parse(buffer) {
    const b = new DataView(buffer);
    if (b.getUint32(0) !== 0x43575431) throw new Error("not a trace");
    const n = b.getUint32(4, true);
    head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 8, n)));
    let at = 8 + n;
    values = head.laps.map(() => head.channels.map(() => { const a = new Float32Array(buffer, at, head.points); at += 4 * head.points; return a; }));
  }

  // ---- what is drawn where -------------------------------------------------

  const time = (l) => values[l][0];
  const name = (l) => { const q = head.laps[l]; return (q.run ? t("run") + " " + q.run + " " : "") + t("lap") + " " + q.lap + (q.slot ? " " + q.slot : ""); };
  /** A lap that is drawn strong; the others stand behind, thin and pale. */
  const strong = (l) => head.laps[l].best || l === against || head.laps.length <= STRONG;

  function difference() {
    const r = time(against);
    return values.map((v) => { const a = new Float32Array(head.points), q = v[0]; for (let i = 0; i < a.length; i++) a[i] = q[i] - r[i]; return a; });
  }

  function prepare() {
    panels = [{ name: t("time lost against") + " " + name(against), key: "difference", unit: "s", digits: 3, data: difference() }];
    head.channels.forEach((c, k) => {
      if (k === 0 || c.hidden) return;
      panels.push({ name: t(c.name), key: c.name, unit: c.unit, digits: c.digits, data: values.map((v) => v[k]), from: c.from || 0, to: c.to || 0 });
    });
    panels = panels.filter((p) => !hidden.has(p.key));
    for (const p of panels) {
      let lo = p.from, hi = p.to;
      if (!(lo < hi)) {
        lo = Infinity; hi = -Infinity;
        for (let l = 0; l < p.data.length; l++) { if (!on[l]) continue; const a = p.data[l]; for (let i = 0; i < a.length; i++) { const v = a[i]; if (v < lo) lo = v; if (v > hi) hi = v; } }
        if (!isFinite(lo)) { lo = 0; hi = 1; }
        if (!(lo < hi)) { lo -= 0.5; hi += 0.5; }
        const m = 0.07 * (hi - lo); lo -= m; hi += m;
      }
      p.lo = lo; p.hi = hi;
    }
  }

  function spans() {
    if (axis === "m") { full = [head.start_m, head.start_m + head.step_m * (head.points - 1)]; return; }
    let most = 0;
    for (let l = 0; l < values.length; l++) { const a = time(l); for (let i = a.length - 1; i >= 0; i--) if (a[i] === a[i]) { most = Math.max(most, a[i]); break; } }
    full = [0, most || 1];
  }

  /** Place (axis) of a sample of a lap. */
  const where = (l, i) => axis === "m" ? head.start_m + i * head.step_m : time(l)[i];
  /** Sample of a lap at a place of the axis, -1 for none. */
  function sample(l, x) {
    if (axis === "m") { const i = Math.round((x - head.start_m) / head.step_m); return i >= 0 && i < head.points ? i : -1; }
    const a = time(l);
    let lo = 0, hi = a.length - 1;
    while (hi > 0 && a[hi] !== a[hi]) hi--;
    while (lo < hi && a[lo] !== a[lo]) lo++;
    if (x < a[lo] - 0.05 || x > a[hi] + 0.05) return -1;
    while (lo < hi) { const m = (lo + hi) >> 1; if (a[m] < x) lo = m + 1; else hi = m; }
    return lo;
  }
  /** Metres along the lap to the axis, by the lap that the others are held against. */
  function fromMetres(m, lap = against) {
    if (axis === "m") return m;
    const i = Math.round((m - head.start_m) / head.step_m);
    return i < 0 ? -Infinity : i >= head.points ? Infinity : time(lap)[i];
  }

  const right = () => width - (phone() ? 8 : RIGHT);
  const px = (x) => LEFT + (x - view[0]) / (view[1] - view[0]) * (right() - LEFT);
  const back = (p) => view[0] + (p - LEFT) / (right() - LEFT) * (view[1] - view[0]);
  const py = (p, v) => p.y + p.h - (Math.max(p.lo, Math.min(p.hi, v)) - p.lo) / (p.hi - p.lo) * p.h;

  function ticks(lo, hi, n) {
    const raw = (hi - lo) / n, e = Math.pow(10, Math.floor(Math.log10(raw)));
    const s = [1, 2, 5, 10].find((m) => m * e >= raw * 0.999) * e, out = [];
    for (let v = Math.ceil(lo / s - 1e-9) * s; v <= hi + s * 1e-6; v += s) out.push(v);
    return [out, Math.max(0, -Math.floor(Math.log10(s) + 1e-9))];
  }

  /** Pen by what a lap is: shape before colour. */
  function pen(c, l) {
    const q = head.laps[l];
    c.setLineDash(q.mark ? [6, 4] : []);
    c.globalAlpha = strong(l) ? 1 : 0.5;
    c.lineWidth = strong(l) ? (q.trial ? 2 : 1.5) : 0.8;
    c.strokeStyle = q.mark ? ink.soft : q.trial ? ink.accent : ink.ink;
  }
  /** The mark of a lap: a ring for the reference slot, a square for the trial slot, a cross for a struck lap, a triangle for another run. */
  function mark(c, l, x, y, r) {
    const q = head.laps[l];
    c.globalAlpha = 1; c.setLineDash([]); c.lineWidth = 1.4;
    c.beginPath();
    if (q.mark) { c.moveTo(x - r, y - r); c.lineTo(x + r, y + r); c.moveTo(x + r, y - r); c.lineTo(x - r, y + r); c.strokeStyle = ink.soft; c.stroke(); return; }
    if (q.run) { c.moveTo(x, y - r - 1); c.lineTo(x + r + 1, y + r); c.lineTo(x - r - 1, y + r); c.closePath(); } else if (q.trial) c.rect(x - r, y - r, 2 * r, 2 * r); else c.arc(x, y, r, 0, 7);
    c.fillStyle = q.trial ? ink.accent : ink.paper; c.fill();
    c.strokeStyle = q.trial ? ink.accent : ink.ink; c.stroke();
  }

  /** Draws one lap's line: least and greatest value of each column of pixels. */
  function line(c, p, l) {
    const a = p.data[l], from = axis === "m" ? Math.max(0, Math.floor((view[0] - head.start_m) / head.step_m) - 1) : Math.max(0, sample(l, Math.max(view[0], 0)) - 1);
    const k = (right() - LEFT) / (view[1] - view[0]), base = LEFT - view[0] * k, end = right() + 2;
    const scale = p.h / (p.hi - p.lo), bottom = p.y + p.h, lo0 = p.lo, hi0 = p.hi, tt = time(l), along = axis === "m";
    let column = -1e9, lo = 0, hi = 0, first = 0, last = 0, up = true, n = 0;
    const flush = () => {
      if (!n) return;
      // One point where the column is flat, else its two ends in the order ridden.
      const flat = (hi - lo) * scale < 0.8, x = column + 0.5, a1 = flat ? first : last >= first ? lo : hi;
      if (up) { c.moveTo(x, bottom - (a1 - lo0) * scale); up = false; } else c.lineTo(x, bottom - (a1 - lo0) * scale);
      if (!flat) c.lineTo(x, bottom - ((last >= first ? hi : lo) - lo0) * scale);
      n = 0;
    };
    c.beginPath();
    for (let i = from; i < a.length; i++) {
      let v = a[i];
      const x = base + k * (along ? head.start_m + i * head.step_m : tt[i]);
      if (v !== v || x !== x) { flush(); up = true; continue; }
      if (x > end) { flush(); v = v < lo0 ? lo0 : v > hi0 ? hi0 : v; if (!up) c.lineTo(x, bottom - (v - lo0) * scale); break; }
      v = v < lo0 ? lo0 : v > hi0 ? hi0 : v;
      const q = Math.floor(x);
      if (q !== column) { flush(); column = q; lo = hi = first = v; n = 1; } else { n++; if (v < lo) lo = v; if (v > hi) hi = v; }
      last = v;
    }
    flush();
    c.stroke();
  }

  const order = () => head.laps.map((_, l) => l).filter((l) => on[l]).sort((a, b) => (strong(a) - strong(b)) || ((a === against) - (b === against)));

  function bands(c) {
    const list = head.phases.length ? head.phases.map((q) => ({ label: t(q.name), a: fromMetres(q.from_m), b: fromMetres(q.to_m) }))
      : head.turns.map((q) => ({ label: q.label, a: fromMetres(q.entry_m), b: fromMetres(q.exit_m < q.entry_m ? q.exit_m + head.length_m : q.exit_m) }));
    const phases = head.phases.length > 0;
    list.forEach((q, i) => {
      const a = Math.max(LEFT, px(q.a)), b = Math.min(right(), px(q.b));
      if (!(b > a)) return;
      if (!phases || i % 2) { c.fillStyle = ink.wash; c.fillRect(a, TOP - 18, b - a, height - AXIS - TOP + 18); }
      if (phases && i) { c.strokeStyle = ink.line; c.lineWidth = 1; c.setLineDash([]); c.beginPath(); c.moveTo(Math.round(a) + 0.5, TOP - 18); c.lineTo(Math.round(a) + 0.5, height - AXIS); c.stroke(); }
      c.fillStyle = ink.soft; c.textAlign = "center";
      if (b - a > c.measureText(q.label).width + 2) c.fillText(q.label, (a + b) / 2, TOP - 9);
    });
  }

  function drawLines() {
    const c = lines.getContext("2d"), edge = right(), small = phone();
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.clearRect(0, 0, width, height);
    c.font = "12px system-ui, sans-serif"; c.textBaseline = "middle";
    bands(c);
    const laps = order();
    for (const p of panels) {
      c.strokeStyle = ink.line; c.lineWidth = 1; c.setLineDash([]); c.fillStyle = ink.soft;
      const [at, digits] = ticks(p.lo, p.hi, Math.max(2, p.h / 24));
      c.textAlign = "right";
      c.beginPath();
      for (const v of at) { const y = Math.round(py(p, v)) + 0.5; c.moveTo(LEFT, y); c.lineTo(edge, y); if (y > p.y + 4 && y < p.y + p.h - 3) c.fillText(num(v, digits), LEFT - 6, y); }
      c.moveTo(LEFT, p.y + p.h + 0.5); c.lineTo(edge, p.y + p.h + 0.5);
      c.stroke();
      c.save();
      c.beginPath(); c.rect(LEFT, p.y - 1, edge - LEFT, p.h + 2); c.clip();
      c.lineJoin = "bevel"; // round joins cost most of the drawing where every pixel has one
      for (const l of laps) { pen(c, l); line(c, p, l); }
      // Marks on the strong lines, shifted so that they do not cover each other.
      laps.filter(strong).forEach((l, k, of) => {
        for (let x = LEFT + 40 + k * MARK_EVERY / of.length; x < edge; x += MARK_EVERY) {
          const i = sample(l, back(x)); if (i < 0) continue;
          const v = p.data[l][i]; if (v === v) mark(c, l, x, py(p, v), 2.6);
        }
      });
      c.restore();
      c.globalAlpha = 1; c.setLineDash([]); c.textAlign = "left";
      const label = p.name + (p.unit ? ", " + p.unit : "");
      c.font = "600 12px system-ui, sans-serif";
      c.lineJoin = "round"; c.lineWidth = 4; c.strokeStyle = ink.paper; c.strokeText(label, LEFT + 6, p.y + 9);
      c.fillStyle = ink.ink; c.fillText(label, LEFT + 6, p.y + 9);
      c.font = "12px system-ui, sans-serif";
    }
    if (lanes) drawLanes(c, laps);
    const [at, digits] = ticks(view[0], view[1], Math.max(3, (edge - LEFT) / 120));
    c.fillStyle = ink.soft; c.textAlign = "center"; c.strokeStyle = ink.soft; c.lineWidth = 1;
    for (const v of at) {
      const x = px(v); if (x < LEFT - 1 || x > edge + 1) continue;
      c.beginPath(); c.moveTo(x, height - AXIS); c.lineTo(x, height - AXIS + 4); c.stroke();
      const m = axis === "m" ? ((v % head.length_m) + head.length_m) % head.length_m : v;
      c.fillText(num(m, axis === "m" ? 0 : digits), x, height - 10);
    }
    if (!small) { c.textAlign = "left"; c.fillText(axis === "m" ? t("m from the gate") : t("s since it began"), edge + 6, height - 10); }
    drawMap();
  }

  /** One row a lap: a bar for each thing that happened, told apart by its shape. */
  function drawLanes(c, laps) {
    const edge = right();
    c.globalAlpha = 1; c.setLineDash([]); c.font = "600 12px system-ui, sans-serif"; c.textAlign = "left"; c.fillStyle = ink.ink;
    c.fillText(t("what happened, a row a lap"), LEFT + 6, lanes.y + 7);
    c.font = "12px system-ui, sans-serif";
    c.save(); c.beginPath(); c.rect(LEFT, lanes.y, edge - LEFT, lanes.h); c.clip();
    const shown = head.laps.map((_, l) => l).filter((l) => on[l]), row = Math.min(14, Math.max(4, (lanes.h - 16) / Math.max(1, shown.length)));
    shown.forEach((l, k) => {
      const y = lanes.y + 16 + k * row, h = row - 2;
      for (const e of head.episodes) {
        if (e.lap !== l) continue;
        const a = px(fromMetres(e.from_m, l)), b = Math.max(a + 2, px(fromMetres(e.to_m, l)));
        if (!(b > LEFT && a < edge)) continue;
        c.fillStyle = head.laps[l].trial ? ink.accent : ink.ink; c.strokeStyle = c.fillStyle; c.lineWidth = 1;
        if (e.kind === "cut") c.fillRect(a, y, b - a, h);
        else if (e.kind === "upshift") c.fillRect(a, y, 1.5, h);
        else if (e.kind === "blip") { c.beginPath(); c.moveTo(a, y); c.lineTo(a + h, y + h / 2); c.lineTo(a, y + h); c.closePath(); c.fill(); } else {
          c.strokeRect(a + 0.5, y + 0.5, Math.max(2, b - a - 1), h - 1);
          if (e.kind === "spin") { c.beginPath(); for (let x = a; x < b; x += 4) { c.moveTo(x, y + h); c.lineTo(x + h, y); } c.save(); c.stroke(); c.restore(); } else if (b - a > 60 && h > 8) { c.fillText(t(e.kind), a + 3, y + h / 2); }
        }
      }
    });
    c.restore();
  }

  // ---- map -----------------------------------------------------------------

  let chart = null;
  function drawMap() {
    const c = mapLines.getContext("2d"), w = mapLines.width / ratio, h = mapLines.height / ratio, X = head.map[0], Y = head.map[1];
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.clearRect(0, 0, w, h);
    if (!X.length) return;
    let x0 = Infinity, x1 = -Infinity, y0 = Infinity, y1 = -Infinity;
    for (let i = 0; i < X.length; i++) { x0 = Math.min(x0, X[i]); x1 = Math.max(x1, X[i]); y0 = Math.min(y0, Y[i]); y1 = Math.max(y1, Y[i]); }
    const k = Math.min((w - 28) / Math.max(1, x1 - x0), (h - 28) / Math.max(1, y1 - y0));
    const ox = (w - k * (x1 - x0)) / 2, oy = (h - k * (y1 - y0)) / 2, closed = !head.turn;
    const origin = head.map_m[0], span = head.map_m[1] - origin;
    /** Where a place lies on the map, off metres to the right of the line. */
    const at = (m, off) => {
      let f = (m - origin) / span * (closed ? X.length : X.length - 1);
      if (!closed && (f < -0.01 || f > X.length - 0.99)) return [NaN, NaN];
      if (closed) f = ((f % X.length) + X.length) % X.length; else f = Math.max(0, Math.min(X.length - 1.001, f));
      const i = Math.floor(f), j = closed ? (i + 1) % X.length : i + 1, g = f - i;
      let x = X[i] + g * (X[j] - X[i]), y = Y[i] + g * (Y[j] - Y[i]);
      if (off) { const dx = X[j] - X[i], dy = Y[j] - Y[i], n = Math.hypot(dx, dy) || 1; x += off * dy / n; y -= off * dx / n; }
      return [ox + (x - x0) * k, h - oy - (y - y0) * k];
    };
    chart = at;
    c.lineJoin = c.lineCap = "round"; c.setLineDash([]); c.globalAlpha = 1;
    const part = (a, b, style, wide) => { c.beginPath(); const n = Math.max(2, Math.ceil((b - a) / span * X.length)); for (let i = 0; i <= n; i++) { const [x, y] = at(a + (b - a) * i / n); if (i) c.lineTo(x, y); else c.moveTo(x, y); } c.strokeStyle = style; c.lineWidth = wide; c.stroke(); };
    part(origin, origin + span, ink.line, closed ? 3 : 14);
    const m0 = axis === "m" ? view[0] : metresAt(view[0]), m1 = axis === "m" ? view[1] : metresAt(view[1]);
    if (closed) part(m0, m1, ink.ink, 2.4);
    else {
      const o = head.channels.findIndex((q) => q.name === "offset");
      if (o > 0) for (const l of order()) {
        pen(c, l); c.beginPath();
        let up = true;
        const a = values[l][o];
        for (let i = 0; i < a.length; i += 4) { if (a[i] !== a[i]) { up = true; continue; } const [x, y] = at(head.start_m + i * head.step_m, head.stretch * a[i]); if (x !== x) { up = true; continue; } if (up) c.moveTo(x, y); else c.lineTo(x, y); up = false; }
        c.stroke();
      }
      c.globalAlpha = 1;
    }
    c.font = "12px system-ui, sans-serif"; c.textAlign = "center"; c.textBaseline = "middle"; c.fillStyle = ink.ink; c.strokeStyle = ink.paper; c.lineWidth = 4; c.setLineDash([]);
    if (closed) { for (const q of head.turns) { const [x, y] = at(q.apex_m); const [cx, cy] = [w / 2, h / 2], n = Math.hypot(x - cx, y - cy) || 1; const tx = x + 12 * (x - cx) / n, ty = y + 12 * (y - cy) / n; c.strokeText(q.label, tx, ty); c.fillText(q.label, tx, ty); } } else { for (const [s, m] of [[t("in"), origin], [t("out"), origin + span]]) { const [x, y] = at(m); c.strokeText(s, x, y - 12); c.fillText(s, x, y - 12); } }
  }
  function metresAt(x) { const i = sample(against, Math.max(full[0], Math.min(full[1], x))); return head.start_m + (i < 0 ? 0 : i) * head.step_m; }

  // ---- cursor --------------------------------------------------------------

  function drawCursor() {
    const c = over.getContext("2d"), m = mapOver.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    if (dirty) { c.clearRect(dirty[0], 0, dirty[1], height); if (!phone()) c.clearRect(right() + 1, 0, RIGHT, height); }
    dirty = null;
    m.setTransform(ratio, 0, 0, ratio, 0, 0);
    for (const [x, y] of dirtyMap) m.clearRect(x - 9, y - 9, 18, 18);
    dirtyMap = [];
    if (cursor !== cursor) return;
    const x = Math.round(px(cursor)) + 0.5, edge = right();
    const laps = order(), at = laps.map((l) => sample(l, cursor));
    if (x >= LEFT && x <= edge) {
      dirty = [x - 6, 12];
      c.strokeStyle = ink.ink; c.lineWidth = 1; c.setLineDash([]); c.globalAlpha = 1;
      c.beginPath(); c.moveTo(x, TOP - 18); c.lineTo(x, height - AXIS); c.stroke();
      c.font = "12px system-ui, sans-serif"; c.textBaseline = "middle"; c.textAlign = "left";
      for (const p of panels) {
        let y = p.y + 9;
        for (let k = laps.length - 1; k >= 0; k--) {
          const l = laps[k], i = at[k]; if (i < 0 || !strong(l)) continue;
          const v = p.data[l][i]; if (v !== v) continue;
          mark(c, l, x, py(p, v), 3.2);
          if (phone() || y > p.y + p.h - 4) continue;
          mark(c, l, edge + 12, y, 3.2);
          c.fillStyle = ink.ink; c.fillText(num(v, p.digits), edge + 21, y);
          y += 15;
        }
      }
    }
    if (chart) {
      const o = head.channels.findIndex((q) => q.name === "offset");
      const dots = axis === "m" ? laps.slice(-1) : laps.filter(strong);
      for (const l of dots) {
        const i = sample(l, cursor); if (i < 0) continue;
        const off = head.turn && o > 0 && values[l][o][i] === values[l][o][i] ? head.stretch * values[l][o][i] : 0;
        const [mx, my] = chart(head.start_m + i * head.step_m, off);
        if (mx !== mx) continue;
        mark(m, l, mx, my, 5); dirtyMap.push([mx, my]);
      }
    }
    const now = performance.now();
    if (now - tabled > TABLE_EVERY) fillTable();
    else if (!tableTimer) tableTimer = setTimeout(() => { tableTimer = 0; fillTable(); }, TABLE_EVERY);
  }

  function fillTable() {
    tabled = performance.now();
    for (let l = 0; l < rows.length; l++) {
      const i = on[l] && cursor === cursor ? sample(l, cursor) : -1;
      for (let k = 0; k < panels.length; k++) { const s = i < 0 ? "–" : num(panels[k].data[l][i], panels[k].digits); if (rows[l][k].data !== s) rows[l][k].data = s; }
    }
    const m = axis === "m" ? ((cursor % head.length_m) + head.length_m) % head.length_m : cursor;
    const s = cursor === cursor ? num(m, axis === "m" ? 0 : 2) + " " + axis : "–";
    if (place && place.data !== s) place.data = s;
    if (said) {
      const list = head.episodes.filter((e) => on[e.lap] && cursor >= fromMetres(e.from_m, e.lap) && cursor <= fromMetres(e.to_m, e.lap)).map((e) => `${name(e.lap)}: ${t(e.kind)}${e.text ? " " + e.text : ""}`);
      const text = list.slice(0, 8).join(" · ") || "–";
      if (said.data !== text) said.data = text;
    }
  }

  // ---- page ----------------------------------------------------------------

  const make = (tag, attributes, ...inside) => { const e = document.createElement(tag); for (const k in attributes) { if (k === "on") for (const n in attributes.on) e.addEventListener(n, attributes.on[n]); else e.setAttribute(k, attributes[k]); } e.append(...inside); return e; };

  function glyph(l) { const q = head.laps[l]; return q.mark ? "✕" : q.run ? (q.trial ? "▲" : "△") : q.trial ? "■" : "○"; }

  function build() {
    on = head.laps.map(() => true);
    against = Math.max(0, head.laps.findIndex((q) => q.best && !q.trial && !q.run));
    const button = (text, label, f) => make("button", { type: "button", class: "second small", "aria-label": label, title: label, on: { click: f } }, text);
    const bar = make("div", { class: "trace-bar noprint", role: "group", "aria-label": t("View") },
      button("+", t("zoom in"), () => zoom(0.6, middle())), button("−", t("zoom out"), () => zoom(1 / 0.6, middle())),
      button("◂", t("move back"), () => pan(-0.3)), button("▸", t("move on"), () => pan(0.3)), button(t("whole"), t("show the whole"), () => setView(full[0], full[1])));
    for (const [key, text] of [["m", t("along the lap")], ["s", t("over time")]]) {
      const b = make("button", { type: "button", class: "second small", "aria-pressed": String(axis === key), on: { click: () => { axis = key; for (const o of bar.querySelectorAll("[data-axis]")) o.setAttribute("aria-pressed", String(o.dataset.axis === key)); spans(); view = full.slice(); cursor = (view[0] + view[1]) / 2; ask(true); } } }, text);
      b.dataset.axis = key;
      bar.append(b);
    }
    const chooser = make("details", { class: "panels" }, make("summary", {}, t("Panels")));
    const all = [["difference", t("time lost")]].concat(head.channels.filter((c, k) => k > 0 && !c.hidden).map((c) => [c.name, t(c.name)]));
    for (const [key, text] of all) {
      const box = make("input", { type: "checkbox", on: { change: (e) => { if (e.target.checked) hidden.delete(key); else hidden.add(key); prepare(); buildTable(); layout(); } } });
      box.checked = true;
      chooser.append(make("label", { class: "check" }, box, text));
    }
    bar.append(chooser);

    mapLines = make("canvas", { "aria-hidden": "true" }); mapOver = make("canvas", { "aria-hidden": "true" });
    const map = make("div", { class: "trace-map" }, mapLines, mapOver);
    const list = make("div", { class: "trace-laps" });
    const body = make("tbody", {});
    head.laps.forEach((q, l) => {
      const show = make("input", { type: "checkbox", "aria-label": t("show") + " " + name(l), on: { change: (e) => { on[l] = e.target.checked; prepare(); ask(true); fillTable(); } } });
      show.checked = true;
      const ref = make("input", { type: "radio", name: "against", "aria-label": t("hold the others against") + " " + name(l), on: { change: () => { against = l; prepare(); buildTable(); ask(true); } } });
      ref.checked = l === against;
      body.append(make("tr", {}, make("td", {}, show), make("td", {}, ref), make("td", {}, make("span", { class: "glyph" + (q.trial ? " trial" : ""), "aria-hidden": "true" }, glyph(l)), " " + (q.run ? q.run + "." : "") + q.lap + " " + q.slot), make("td", { class: "n" }, num(q.time_s, 3)), make("td", {}, q.mark || (q.best ? t("best") : ""))));
    });
    list.append(make("table", { class: "small" }, make("thead", {}, make("tr", {}, make("th", { scope: "col" }, t("show")), make("th", { scope: "col" }, t("against")), make("th", { scope: "col" }, t("lap")), make("th", { scope: "col", class: "n" }, head.turn ? t("turn, s") : t("lap, s")), make("th", { scope: "col" }, t("mark")))), body));
    lines = make("canvas", { "aria-hidden": "true" }); over = make("canvas", { "aria-hidden": "true" });
    stage = make("div", { class: "stage", tabindex: "0", role: "application", "aria-label": box.dataset.label || "" }, lines, over);
    said = document.createTextNode("–");
    table = make("table", { class: "values" });
    const side = make("div", { class: "trace-side" }, map, list);
    const main = make("div", { class: "trace-main" }, bar, stage, make("p", { class: "said-here" }, make("strong", {}, t("At the cursor: ")), said));
    box.replaceChildren(make("div", { class: "trace-grid" }, side, main), make("details", { class: "all-values" }, make("summary", {}, t("All values at the cursor")), make("div", { class: "wide", tabindex: "0", role: "region", "aria-label": t("All values at the cursor") }, table)));
    box.classList.add("live");
  }

  function buildTable() {
    place = document.createTextNode("");
    const th = (s, n) => make("th", n ? { scope: "col", class: "n" } : { scope: "col" }, s);
    const body = make("tbody", {});
    rows = head.laps.map((q, l) => {
      const texts = panels.map(() => document.createTextNode("–"));
      body.append(make("tr", {}, make("th", { scope: "row" }, glyph(l) + " " + name(l)), ...texts.map((x) => make("td", { class: "n" }, x))));
      return texts;
    });
    table.replaceChildren(make("thead", {}, make("tr", {}, th(place), ...panels.map((p) => th(p.name + (p.unit ? ", " + p.unit : ""), true)))), body);
  }

  function layout() {
    ratio = Math.min(2, window.devicePixelRatio || 1);
    width = stage.clientWidth;
    const each = head.turn ? 82 : 78;
    let y = TOP;
    for (const p of panels) { p.h = p.key === "difference" ? each + 14 : each; p.y = y; y += p.h + GAP; }
    lanes = head.episodes.length ? { y, h: 16 + Math.min(150, Math.max(40, LANE * head.laps.length)) } : null;
    if (lanes) y += lanes.h + GAP;
    height = y - GAP + AXIS + 4;
    stage.style.setProperty("height", height + "px");
    const fit = (canvas, w, h) => { canvas.width = Math.round(w * ratio); canvas.height = Math.round(h * ratio); canvas.style.setProperty("width", w + "px"); canvas.style.setProperty("height", h + "px"); };
    fit(lines, width, height); fit(over, width, height);
    const mw = mapLines.parentElement.clientWidth, mh = Math.round(Math.min(260, mw * 0.72));
    mapLines.parentElement.style.setProperty("height", mh + "px");
    fit(mapLines, mw, mh); fit(mapOver, mw, mh);
    inks();
    dirty = null; dirtyMap = []; redraw = true;
    frame();
  }

  function frame() {
    queued = 0;
    const a = performance.now();
    if (redraw) { redraw = false; drawLines(); if (dirty) dirty = [0, width]; box.dataset.redraw = (performance.now() - a).toFixed(1); box.dataset.view = view.join(" "); }
    const b = performance.now();
    drawCursor();
    box.dataset.cursor = (performance.now() - b).toFixed(2);
  }
  function ask(all) { redraw = redraw || all; if (!queued) queued = requestAnimationFrame(frame); }

  const middle = () => cursor >= view[0] && cursor <= view[1] ? cursor : (view[0] + view[1]) / 2;
  function setView(a, b) {
    const least = axis === "m" ? 10 : 0.3, L = full[1] - full[0], w = Math.min(L, Math.max(Math.min(least, L), b - a));
    a = Math.max(full[0], Math.min(full[1] - w, a));
    view = [a, a + w];
    ask(true);
  }
  function zoom(f, x) { setView(x - (x - view[0]) * f, x + (view[1] - x) * f); }
  function pan(f) { const w = view[1] - view[0]; setView(view[0] + f * w, view[1] + f * w); }
  function move(x) { cursor = Math.max(full[0], Math.min(full[1], x)); ask(false); }

  function listen() {
    const fingers = new Map();
    let drag = null;
    const at = (e) => e.clientX - stage.getBoundingClientRect().left;
    /** Place and distance of two fingers: a slanting pinch is one too. */
    const finger = (e) => [at(e), e.clientY];
    const apart = (q) => Math.max(10, Math.hypot(q[0][0] - q[1][0], q[0][1] - q[1][1]));
    stage.addEventListener("pointerdown", (e) => { fingers.set(e.pointerId, finger(e)); drag = { x: at(e), view: view.slice(), moved: false }; stage.setPointerCapture(e.pointerId); });
    stage.addEventListener("pointermove", (e) => {
      if (fingers.has(e.pointerId)) {
        const was = [...fingers.values()];
        fingers.set(e.pointerId, finger(e));
        const now = [...fingers.values()];
        if (now.length === 2) { zoom(apart(was) / apart(now), back((now[0][0] + now[1][0]) / 2)); drag = null; return; }
        if (drag && (drag.moved || Math.abs(at(e) - drag.x) > 6)) {
          drag.moved = true;
          const d = (drag.x - at(e)) / (right() - LEFT) * (drag.view[1] - drag.view[0]);
          setView(drag.view[0] + d, drag.view[1] + d);
        }
      }
      move(back(at(e)));
    });
    const up = (e) => { fingers.delete(e.pointerId); drag = null; };
    stage.addEventListener("pointerup", up);
    stage.addEventListener("pointercancel", up);
    // The wheel zooms while the traces have the focus or Ctrl is held (as a pinch
    // on a touch pad does); else it scrolls the page, which must stay possible.
    stage.addEventListener("wheel", (e) => {
      if (e.ctrlKey || (stage.matches(":focus") && Math.abs(e.deltaY) >= Math.abs(e.deltaX))) { e.preventDefault(); zoom(Math.exp(e.deltaY * (e.ctrlKey ? 0.01 : 0.0015)), back(at(e))); } else if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) { e.preventDefault(); pan(e.deltaX / width); }
    }, { passive: false });
    stage.addEventListener("dblclick", () => setView(full[0], full[1]));
    stage.addEventListener("keydown", (e) => {
      const w = view[1] - view[0], d = w / 200;
      const keys = {
        ArrowLeft: () => e.shiftKey ? pan(-0.2) : move(cursor - d), ArrowRight: () => e.shiftKey ? pan(0.2) : move(cursor + d),
        "+": () => zoom(0.7, middle()), "=": () => zoom(0.7, middle()), "-": () => zoom(1 / 0.7, middle()), Home: () => setView(full[0], full[1]),
        PageDown: () => pan(0.9), PageUp: () => pan(-0.9),
      };
      if (!keys[e.key] || e.altKey || e.metaKey) return;
      e.preventDefault();
      keys[e.key]();
      if (cursor < view[0] || cursor > view[1]) { if (e.key.startsWith("Arrow") && !e.shiftKey) setView(cursor - w / 2, cursor + w / 2); else move((view[0] + view[1]) / 2); }
    });
    // The map is a handle too: a finger on it moves the cursor there.
    mapOver.addEventListener("pointermove", (e) => {
      if (!chart) return;
      const r = mapOver.getBoundingClientRect(), x = e.clientX - r.left, y = e.clientY - r.top;
      let best = Infinity, at = NaN;
      for (let i = 0; i < head.points; i += 8) { const m = head.start_m + i * head.step_m, [a, b] = chart(m), d = (a - x) ** 2 + (b - y) ** 2; if (d < best) { best = d; at = m; } }
      if (best < 900) move(fromMetres(at));
    });
    new ResizeObserver(() => { if (stage.clientWidth !== width) layout(); }).observe(stage);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { inks(); ask(true); });
  }

  async function start() {
    let buffer;
    try {
      const answer = await fetch(box.dataset.source);
      if (!answer.ok) throw new Error(answer.status);
      buffer = await answer.arrayBuffer();
    } catch { box.append(make("p", { class: "trouble", role: "alert" }, t("The traces could not be fetched: reload the page."))); return; }
    const a = performance.now();
    parse(buffer);
    build();
    spans();
    view = full.slice();
    const from = new URLSearchParams(location.search).get("from");
    if (head.turn) view = [full[0], Math.min(full[1], head.map_m[1] + 200)];
    if (from !== null && isFinite(Number(from)) && !head.turn) { const f = ((Number(from) % head.length_m) + head.length_m) % head.length_m; view = [f, Math.min(full[1], f + 500)]; }
    cursor = (view[0] + view[1]) / 2;
    prepare();
    buildTable();
    layout();
    listen();
    requestAnimationFrame(() => requestAnimationFrame(() => { box.dataset.paint = (performance.now() - a).toFixed(0); box.dataset.ready = "yes"; }));
  }
  start();
})();
