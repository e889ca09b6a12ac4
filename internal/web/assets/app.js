// What every page gets beside its markup: live updates, files dropped anywhere,
// progress of an upload. Nothing here is needed to read or to enter a remark.
"use strict";

/** Highest event that this page has shown. */
let seen = Number(document.body.dataset.last || 0);
/** True while a field differs from what the server sent: never touched by updates. */
let typed = false;
document.addEventListener("input", () => { typed = true; });

/** Puts the newest state of the parts marked data-live into the page. */
async function refresh() {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const part of document.querySelectorAll("[data-live]")) {
    const now = fresh.querySelector(`[data-live="${part.dataset.live}"]`);
    if (!now || now.innerHTML === part.innerHTML) continue;
    if (part.contains(document.activeElement) && document.activeElement !== document.body) { tell(); continue; }
    part.replaceChildren(...now.childNodes);
  }
}

/** Says that something is new where it cannot be put in quietly. */
function tell(text) {
  const bar = document.querySelector(".news");
  if (!bar) return;
  bar.querySelector("span").textContent = text || "Something is new here.";
  bar.querySelector("button").onclick = () => location.reload();
  bar.hidden = false;
}

if (window.EventSource) {
  const events = new EventSource("/events?after=" + seen);
  let wait = 0;
  events.addEventListener("book", (e) => {
    const news = JSON.parse(e.data);
    if (news.seq <= seen) return; // told twice after a lost connection: shown once
    seen = news.seq;
    document.body.dataset.last = seen;
    const waiting = location.pathname === "/phone" && news.kind === "run";
    if (waiting) { location.reload(); return; }
    if (!document.querySelector("[data-live]")) return;
    clearTimeout(wait);
    wait = setTimeout(refresh, 150);
  });
  addEventListener("pagehide", () => events.close());
}

/** Sends the form of the adding page and shows how far it is. */
function send(form) {
  const data = new FormData(form);
  const job = "j" + Date.now().toString(36) + Math.random().toString(36).slice(2, 8);
  data.set("job", job);
  const box = document.getElementById("progress"), bar = document.getElementById("bar"), stage = document.getElementById("stage"), out = document.getElementById("trouble");
  out.replaceChildren();
  box.hidden = false;
  bar.value = 0;
  stage.textContent = "sending";
  const request = new XMLHttpRequest();
  request.open("POST", form.action);
  request.setRequestHeader("Accept", "application/json");
  request.upload.onprogress = (e) => { if (e.lengthComputable) bar.value = 0.3 * e.loaded / e.total; };
  const progress = new EventSource("/add/progress/" + job);
  progress.addEventListener("progress", (e) => {
    const p = JSON.parse(e.data);
    if (p.stage === "waiting") return;
    stage.textContent = p.stage;
    bar.value = 0.3 + 0.7 * p.share;
    if (p.done) progress.close();
  });
  const fail = (text, mend, original, problems) => {
    progress.close();
    box.hidden = true;
    const p = document.createElement("p");
    p.className = "trouble";
    p.setAttribute("role", "alert");
    p.textContent = text;
    out.append(p);
    if (mend) { const m = document.createElement("p"); m.textContent = "What to do: " + mend; out.append(m); }
    if (problems && problems.length) {
      const list = document.createElement("ul");
      for (const q of problems) {
        const li = document.createElement("li");
        li.textContent = `${q.severity}${q.line ? " line " + q.line : ""}: ${q.text} ${q.mend || ""}`;
        list.append(li);
      }
      out.append(list);
    }
    if (original) {
      const a = document.createElement("a");
      a.href = "/map/" + original;
      a.textContent = "Say what its columns are";
      out.append(a);
    }
  };
  request.onload = () => {
    let answer = {};
    try { answer = JSON.parse(request.responseText); } catch { /* told below */ }
    if (request.status === 200 && answer.to) { progress.close(); location.href = answer.to; return; }
    fail(answer.trouble || "The recording could not be taken.", answer.mend, answer.original, answer.problems);
  };
  request.onerror = () => fail("The connection broke while the file was sent.", "If the stick was taken out, put it back in and choose the file again.");
  request.send(data);
}

const adding = document.getElementById("add");
if (adding) adding.addEventListener("submit", (e) => { e.preventDefault(); send(adding); });

// A file dropped on any page goes to the adding page; there it goes into the form.
const crew = document.querySelector('nav a[href="/add"]');
if (crew) {
  addEventListener("dragover", (e) => { if (e.dataTransfer.types.includes("Files")) { e.preventDefault(); document.body.classList.add("over"); } });
  addEventListener("dragleave", (e) => { if (!e.relatedTarget) document.body.classList.remove("over"); });
  addEventListener("drop", (e) => {
    if (!e.dataTransfer.files.length) return;
    e.preventDefault();
    document.body.classList.remove("over");
    if (!adding) { tell("Open “Add a recording” and drop the file there."); const b = document.querySelector(".news button"); b.textContent = "Open it"; b.onclick = () => { location.href = "/add"; }; return; }
    document.getElementById("recording").files = e.dataTransfer.files;
    send(adding);
  });
}

// A tap on a circuit's line takes its place, in metres from the gate, into the
// fields that want one.
const chart = document.getElementById("circuit-map");
const wanting = document.querySelectorAll("[data-pick]");
if (chart && wanting.length) {
  const svg = chart.querySelector("svg");
  const places = chart.dataset.points.split(";").filter(Boolean).map((q) => q.split(" ").map(Number));
  const dot = document.createElementNS("http://www.w3.org/2000/svg", "circle");
  dot.setAttribute("r", "2");
  dot.setAttribute("class", "f-warn");
  svg.addEventListener("click", (e) => {
    const at = new DOMPoint(e.clientX, e.clientY).matrixTransform(svg.getScreenCTM().inverse());
    let best = null, far = Infinity;
    for (const q of places) { const d = Math.hypot(q[1] - at.x, q[2] - at.y); if (d < far) { far = d; best = q; } }
    if (far > 8) return;
    dot.setAttribute("cx", best[1]);
    dot.setAttribute("cy", best[2]);
    svg.append(dot);
    for (const f of wanting) f.value = best[0];
    document.getElementById("picked").textContent = best[0] + " m";
  });
}
