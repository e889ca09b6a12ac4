// Laps along the circuit: one canvas a panel for the lines, one over all for
// the cursor. Lines are thinned to the least and greatest value of each column
// of pixels, so that a hundred thousand points cost no more than the screen.
"use strict";
(function () {
  const box = document.getElementById("traces");
  if (!box) return;
  const LEFT = 58, RIGHT = 8, TOP = 4, PANEL = 104, GAP = 10, AXIS = 22, MAP = 190;
  const table = document.getElementById("values");

  /** @type {{step_m:number,points:number,length_m:number,laps:any[],channels:any[],map:number[][],turns:any[]}} */
  let head;
  /** values[lap][channel] is a Float32Array of points */
  let values = [];
  /** panels: {name, unit, of(lap) -> Float32Array, lo, hi} */
  let panels = [];
  let view = [0, 1];        // metres from the gate
  let cursor = NaN;         // metres
  let lines, over, mapLayer, width = 0, height = 0, ratio = 1, queued = 0, redraw = false;

  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  let ink = {};
  function inks() { ink = { ink: css("--ink"), soft: css("--soft"), line: css("--line"), accent: css("--accent"), paper: css("--paper"), wash: css("--wash") }; }

  function parse(buffer) {
    const bytes = new DataView(buffer);
    if (String.fromCharCode(bytes.getUint8(0), bytes.getUint8(1), bytes.getUint8(2), bytes.getUint8(3)) !== "CWT1") throw new Error("not a trace");
    const n = bytes.getUint32(4, true);
    head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 8, n)));
    let at = 8 + n;
    values = head.laps.map(() => head.channels.map(() => { const a = new Float32Array(buffer, at, head.points); at += 4 * head.points; return a; }));
  }

  function prepare() {
    const delta = values.map((v) => {
      const a = new Float32Array(head.points), t = v[0], r = values[0][0];
      for (let i = 0; i < a.length; i++) a[i] = t[i] - r[i];
      return a;
    });
    panels = [{ name: "lost against lap " + head.laps[0].lap, unit: "s", data: delta, digits: 3 }];
    head.channels.forEach((c, k) => { if (k > 0) panels.push({ name: c.name, unit: c.unit, data: values.map((v) => v[k]), from: c.from || 0, to: c.to || 0, digits: c.unit === "1/min" ? 0 : 1 }); });
    for (const p of panels) {
      let lo = p.from, hi = p.to;
      if (!(lo < hi)) {
        lo = Infinity; hi = -Infinity;
        for (const a of p.data) for (let i = 0; i < a.length; i++) { const v = a[i]; if (v < lo) lo = v; if (v > hi) hi = v; }
        if (!(lo < hi)) { lo = Math.min(lo, 0) - 1; hi = Math.max(hi, 0) + 1; if (!isFinite(lo)) { lo = 0; hi = 1; } }
        const m = 0.06 * (hi - lo); lo -= m; hi += m;
      }
      p.lo = lo; p.hi = hi;
    }
    view = [0, head.length_m];
    const from = Number(new URLSearchParams(location.search).get("from"));
    if (location.search.includes("from=") && isFinite(from)) { const f = ((from % head.length_m) + head.length_m) % head.length_m; view = [f, Math.min(head.length_m, f + 500)]; }
    cursor = (view[0] + view[1]) / 2;
  }

  const px = (m) => LEFT + (m - view[0]) / (view[1] - view[0]) * (width - LEFT - RIGHT);
  const metre = (x) => view[0] + (x - LEFT) / (width - LEFT - RIGHT) * (view[1] - view[0]);
  const top = (k) => TOP + k * (PANEL + GAP);
  const py = (p, k, v) => top(k) + PANEL - (Math.max(p.lo, Math.min(p.hi, v)) - p.lo) / (p.hi - p.lo) * PANEL;

  /** Line style by what a lap is: shape first. */
  function stroke(c, lap) {
    const l = head.laps[lap];
    c.setLineDash(l.mark ? [5, 4] : []);
    c.lineWidth = l.mark ? 1 : l.trial ? 2 : 1.1;
    c.strokeStyle = l.mark ? ink.soft : l.trial ? ink.accent : ink.ink;
  }

  function nice(lo, hi, n) {
    const raw = (hi - lo) / n, e = Math.pow(10, Math.floor(Math.log10(raw)));
    const s = [1, 2, 5, 10].find((m) => m * e >= raw) * e, out = [];
    for (let v = Math.ceil(lo / s) * s; v <= hi + 1e-9; v += s) out.push(v);
    return [out, Math.max(0, -Math.floor(Math.log10(s) + 1e-9))];
  }
  const minus = (s) => s.replace("-", "−");

  function drawLines() {
    const c = lines.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.clearRect(0, 0, width, height);
    c.font = "12px system-ui, sans-serif";
    c.textBaseline = "middle";
    const i0 = Math.max(0, Math.floor(view[0] / head.step_m)), i1 = Math.min(head.points - 1, Math.ceil(view[1] / head.step_m));
    const w = width - LEFT - RIGHT;
    // The bends are bands with their numbers.
    for (const t of head.turns) {
      let a = t.entry_m, b = t.exit_m;
      if (b < a) b += head.length_m;
      const x0 = Math.max(LEFT, px(a)), x1 = Math.min(width - RIGHT, px(b));
      if (x1 <= x0) continue;
      c.fillStyle = ink.wash;
      c.fillRect(x0, TOP, x1 - x0, height - TOP - AXIS);
      c.fillStyle = ink.soft;
      c.textAlign = "center";
      if (x1 - x0 > 9) c.fillText(t.label, (x0 + x1) / 2, height - AXIS + 6);
    }
    panels.forEach((p, k) => {
      const y0 = top(k);
      c.strokeStyle = ink.line; c.lineWidth = 1; c.setLineDash([]);
      c.strokeRect(LEFT + 0.5, y0 + 0.5, w, PANEL);
      const [ticks, digits] = nice(p.lo, p.hi, 3);
      c.textAlign = "right"; c.fillStyle = ink.soft;
      for (const v of ticks) {
        const y = Math.round(py(p, k, v)) + 0.5;
        c.beginPath(); c.moveTo(LEFT, y); c.lineTo(width - RIGHT, y); c.stroke();
        c.fillText(minus(v.toFixed(digits)), LEFT - 6, y);
      }
      c.save();
      c.beginPath(); c.rect(LEFT, y0, w, PANEL); c.clip();
      for (let l = 0; l < p.data.length; l++) {
        const a = p.data[l];
        stroke(c, l);
        c.beginPath();
        const per = (i1 - i0) / w;
        let up = true;
        if (per <= 2) {
          for (let i = i0; i <= i1; i++) {
            const v = a[i];
            if (v !== v) { up = true; continue; }
            const x = px(i * head.step_m), y = py(p, k, v);
            if (up) c.moveTo(x, y); else c.lineTo(x, y);
            up = false;
          }
        } else {
          for (let x = 0; x < w; x++) {
            let lo = Infinity, hi = -Infinity;
            const b = Math.min(i1, Math.floor(i0 + (x + 1) * per));
            for (let i = Math.floor(i0 + x * per); i <= b; i++) { const v = a[i]; if (v < lo) lo = v; if (v > hi) hi = v; }
            if (lo > hi) { up = true; continue; }
            const ya = py(p, k, lo), yb = py(p, k, hi);
            if (up) c.moveTo(LEFT + x, ya); else c.lineTo(LEFT + x, ya);
            if (yb !== ya) c.lineTo(LEFT + x, yb);
            up = false;
          }
        }
        c.stroke();
      }
      c.restore();
      c.setLineDash([]);
      c.textAlign = "left";
      const label = p.name + (p.unit ? "  " + p.unit : "");
      c.lineWidth = 4; c.strokeStyle = ink.paper; c.lineJoin = "round"; c.strokeText(label, LEFT + 6, y0 + 11);
      c.fillStyle = ink.ink; c.fillText(label, LEFT + 6, y0 + 11);
    });
    const [ticks] = nice(view[0], view[1], Math.max(3, w / 140));
    c.fillStyle = ink.soft; c.textAlign = "center";
    for (const v of ticks) { const x = px(v); if (x > LEFT + 10 && x < width - 40) { c.fillText(v.toFixed(0) + " m", x, height - 6); } }
    drawMap();
  }

  let mapScale = null;
  function drawMap() {
    const c = mapLayer.getContext("2d");
    const mw = Math.min(width, 340);
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.clearRect(0, 0, width, MAP);
    const X = head.map[0], Y = head.map[1];
    let x0 = Infinity, x1 = -Infinity, y0 = Infinity, y1 = -Infinity;
    for (let i = 0; i < X.length; i++) { x0 = Math.min(x0, X[i]); x1 = Math.max(x1, X[i]); y0 = Math.min(y0, Y[i]); y1 = Math.max(y1, Y[i]); }
    const k = Math.min((mw - 20) / (x1 - x0), (MAP - 20) / (y1 - y0));
    mapScale = (i) => [10 + (X[i] - x0) * k, MAP - 10 - (Y[i] - y0) * k];
    const part = (a, b, style, w) => {
      c.beginPath();
      for (let i = a; i <= b; i++) { const [x, y] = mapScale(i % X.length); if (i === a) c.moveTo(x, y); else c.lineTo(x, y); }
      c.strokeStyle = style; c.lineWidth = w; c.lineJoin = "round"; c.stroke();
    };
    part(0, X.length, ink.line, 3);
    part(Math.floor(view[0] / head.length_m * X.length), Math.floor(view[1] / head.length_m * X.length), ink.ink, 2);
  }

  function at(a, m) { const i = Math.round(m / head.step_m); return i >= 0 && i < a.length ? a[i] : NaN; }

  function drawCursor() {
    const c = over.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.clearRect(0, 0, width, height + MAP);
    if (!(cursor >= 0)) return;
    const x = Math.round(px(cursor)) + 0.5;
    if (x >= LEFT && x <= width - RIGHT) {
      c.strokeStyle = ink.ink; c.lineWidth = 1;
      c.beginPath(); c.moveTo(x, MAP + TOP); c.lineTo(x, MAP + height - AXIS); c.stroke();
      panels.forEach((p, k) => {
        for (let l = 0; l < p.data.length; l++) {
          const v = at(p.data[l], cursor);
          if (v !== v) continue;
          const y = MAP + py(p, k, v);
          c.beginPath();
          if (head.laps[l].trial) { c.fillStyle = ink.accent; c.fillRect(x - 3, y - 3, 6, 6); } else { c.arc(x, y, 3.2, 0, 7); c.fillStyle = ink.paper; c.fill(); c.strokeStyle = ink.ink; c.stroke(); }
        }
      });
    }
    if (mapScale) {
      const n = head.map[0].length, [mx, my] = mapScale(Math.min(n - 1, Math.round(cursor / head.length_m * n)));
      c.beginPath(); c.arc(mx, my, 5, 0, 7); c.fillStyle = ink.accent; c.fill(); c.lineWidth = 2; c.strokeStyle = ink.paper; c.stroke();
    }
    for (let l = 0; l < cells.length; l++) for (let k = 0; k < panels.length; k++) {
      const v = at(panels[k].data[l], cursor), s = v !== v ? "–" : minus(v.toFixed(panels[k].digits));
      if (cells[l][k].data !== s) cells[l][k].data = s;
    }
    if (place) place.data = cursor.toFixed(0) + " m";
  }

  let cells = [], place = null;
  function buildTable() {
    const row = (kind, list) => { const tr = document.createElement("tr"); list.forEach((s, i) => { const td = document.createElement(kind); if (i > 0) td.className = "n"; if (kind === "th") td.scope = "col"; td.append(s); tr.append(td); }); return tr; };
    place = document.createTextNode("");
    const thead = document.createElement("thead");
    thead.append(row("th", [place, ...panels.map((p) => p.name + (p.unit ? ", " + p.unit : ""))]));
    const body = document.createElement("tbody");
    cells = head.laps.map((l) => {
      const texts = panels.map(() => document.createTextNode("–"));
      const tr = row("td", [`${l.trial ? "■" : "○"} lap ${l.lap}${l.slot ? " " + l.slot : ""}${l.mark ? " (" + l.mark + ")" : ""}`, ...texts]);
      body.append(tr);
      return texts;
    });
    table.replaceChildren(thead, body);
  }

  function layout() {
    ratio = Math.min(2, window.devicePixelRatio || 1);
    width = box.clientWidth;
    height = TOP + panels.length * (PANEL + GAP) + AXIS + 8;
    box.style.setProperty("height", height + MAP + "px");
    for (const [canvas, h, y] of [[mapLayer, MAP, 0], [lines, height, MAP], [over, height + MAP, 0]]) {
      canvas.width = Math.round(width * ratio); canvas.height = Math.round(h * ratio);
      canvas.style.setProperty("height", h + "px"); canvas.style.setProperty("top", y + "px");
    }
    inks();
    redraw = true;
    frame();
  }

  function frame() {
    queued = 0;
    const t = performance.now();
    if (redraw) { redraw = false; drawLines(); box.dataset.redraw = (performance.now() - t).toFixed(1); }
    const t2 = performance.now();
    drawCursor();
    box.dataset.cursor = (performance.now() - t2).toFixed(2);
  }
  function ask(all) { redraw = redraw || all; if (!queued) queued = requestAnimationFrame(frame); }

  function setView(a, b) {
    const least = 20, L = head.length_m;
    let w = Math.min(L, Math.max(least, b - a));
    a = Math.max(0, Math.min(L - w, a));
    view = [a, a + w];
    ask(true);
  }
  function zoom(f, m) { setView(m - (m - view[0]) * f, m + (view[1] - m) * f); }
  function move(m) { cursor = Math.max(0, Math.min(head.length_m, m)); ask(false); }

  function listen() {
    const fingers = new Map();
    let drag = null;
    const x = (e) => e.clientX - box.getBoundingClientRect().left;
    box.addEventListener("pointerdown", (e) => { fingers.set(e.pointerId, x(e)); drag = { x: x(e), view: view.slice(), moved: false }; box.setPointerCapture(e.pointerId); });
    box.addEventListener("pointermove", (e) => {
      if (fingers.has(e.pointerId)) {
        const before = [...fingers.values()];
        fingers.set(e.pointerId, x(e));
        const now = [...fingers.values()];
        if (now.length === 2) {
          const f = Math.abs(before[0] - before[1]) / Math.max(10, Math.abs(now[0] - now[1]));
          zoom(f, metre((now[0] + now[1]) / 2));
        } else if (drag && (drag.moved || Math.abs(x(e) - drag.x) > 6)) {
          drag.moved = true;
          const d = (drag.x - x(e)) / (width - LEFT - RIGHT) * (drag.view[1] - drag.view[0]);
          setView(drag.view[0] + d, drag.view[1] + d);
        }
      }
      move(metre(x(e)));
    });
    const up = (e) => { fingers.delete(e.pointerId); drag = null; };
    box.addEventListener("pointerup", up);
    box.addEventListener("pointercancel", up);
    box.addEventListener("wheel", (e) => { if (e.ctrlKey || Math.abs(e.deltaY) >= Math.abs(e.deltaX)) { e.preventDefault(); zoom(Math.exp(e.deltaY * 0.0015), metre(x(e))); } else { e.preventDefault(); const d = e.deltaX / width * (view[1] - view[0]); setView(view[0] + d, view[1] + d); } }, { passive: false });
    box.addEventListener("dblclick", () => setView(0, head.length_m));
    box.addEventListener("keydown", (e) => {
      const w = view[1] - view[0], d = w / 200;
      const keys = {
        ArrowLeft: () => e.shiftKey ? setView(view[0] - w / 5, view[1] - w / 5) : move(cursor - d),
        ArrowRight: () => e.shiftKey ? setView(view[0] + w / 5, view[1] + w / 5) : move(cursor + d),
        "+": () => zoom(0.7, cursor), "=": () => zoom(0.7, cursor), "-": () => zoom(1 / 0.7, cursor),
        Home: () => setView(0, head.length_m),
      };
      if (keys[e.key]) { e.preventDefault(); keys[e.key](); if (cursor < view[0] || cursor > view[1]) move((view[0] + view[1]) / 2); }
    });
    new ResizeObserver(() => { if (box.clientWidth !== width) layout(); }).observe(box);
  }

  async function start() {
    const answer = await fetch(box.dataset.source);
    if (!answer.ok) { box.textContent = "These laps have no traces."; return; }
    const buffer = await answer.arrayBuffer();
    const t = performance.now();
    parse(buffer);
    prepare();
    mapLayer = document.createElement("canvas"); lines = document.createElement("canvas"); over = document.createElement("canvas");
    for (const c of [mapLayer, lines, over]) c.setAttribute("aria-hidden", "true");
    box.replaceChildren(mapLayer, lines, over);
    buildTable();
    layout();
    listen();
    requestAnimationFrame(() => requestAnimationFrame(() => { box.dataset.paint = (performance.now() - t).toFixed(0); box.dataset.ready = "yes"; }));
  }
  start();
})();
