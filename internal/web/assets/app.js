// What every page gets beside its markup: live updates, files dropped anywhere,
// progress of an upload. Nothing here is needed to read or to enter a remark.
"use strict";

/** Highest event that this page has shown. */
let seen = Number(document.body.dataset.last || 0);
/** True while a field differs from what the server sent: never touched by updates. */
let typed = false;
document.addEventListener("input", () => { typed = true; });

/** True while a finger or a button is down: what it is on must not go from under it. */
let pressed = false;
for (const [kind, down] of [["pointerdown", true], ["pointerup", false], ["pointercancel", false]]) {
  addEventListener(kind, () => { down ? pressed = true : setTimeout(() => { pressed = false; }, 50); }, true);
}

/** Puts the newest state of the parts marked data-live into the page. */
async function refresh() {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  while (pressed) await new Promise((later) => setTimeout(later, 50));
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
  bar.querySelector("span").textContent = text || t("Something is new here.");
  bar.querySelector("button").onclick = () => location.reload();
  bar.hidden = false;
}

if (window.EventSource) {
  const events = new EventSource("/events?after=" + seen);
  let wait = 0, drawn = 0;
  events.addEventListener("book", (e) => {
    const news = JSON.parse(e.data);
    if (news.seq <= seen) return; // told twice after a lost connection: shown once
    seen = news.seq;
    document.body.dataset.last = seen;
    const waiting = location.pathname === "/phone" && news.kind === "run";
    if (waiting) { location.reload(); return; }
    if (!document.querySelector("[data-live]")) return;
    // A phone shows its rider's own remarks: those of others change nothing on it.
    const phone = document.getElementById("phone");
    if (phone && news.kind === "remark" && phone.dataset.you && news.who !== phone.dataset.you) return;
    // At once, but not more than once a second while much is said.
    if (wait) return;
    wait = setTimeout(() => { wait = 0; drawn = Date.now(); refresh(); }, Math.max(150, 1000 - (Date.now() - drawn)));
  });
  // Another book answers under this address, or an older copy: nothing here holds.
  events.addEventListener("other", () => location.reload());
  events.addEventListener("over", () => { events.close(); tell(t("Your session has ended. What you typed stays here: join again, then send it.")); });
  events.addEventListener("stopped", () => tell(t("The program on the crew's machine was stopped. This page is as it was; it follows again when it is started.")));
  addEventListener("pagehide", () => events.close());
}

/** Element with attributes and content. */
const make = (tag, attributes, ...inside) => { const e = document.createElement(tag); for (const k in attributes) e.setAttribute(k, attributes[k]); e.append(...inside); return e; };
const words = (() => { const e = document.getElementById("words"); try { return e ? JSON.parse(e.textContent) || {} : {}; } catch { return {}; } })();
/** The text in the language of the page. */
const t = (s) => words[s] || s;

// Parts that change by themselves are asked for every so many seconds.
for (const part of document.querySelectorAll("[data-poll]")) setInterval(() => { if (!document.hidden) refresh(); }, 1000 * Number(part.dataset.poll));

const comma = document.documentElement.dataset.decimal === "comma";
/** A number as the person writes it. */
const digits = (v, d) => { const s = v.toFixed(d); return comma ? s.replace(".", ",") : s; };
const megabytes = (a, of) => digits(a / 1e6, 1) + " " + t("of") + " " + digits(of / 1e6, 1) + " MB";
/** How far the reading is: bytes, rows, and the time left once it can be told. */
function howFar(p) {
  const parts = [];
  if (p.bytes && p.size) parts.push(megabytes(Math.min(p.bytes, p.size), p.size));
  if (p.rows) parts.push(p.rows.toLocaleString(comma ? "de" : "en") + " " + t("rows"));
  if (p.left_s) parts.push(t("about") + " " + p.left_s + " s " + t("left"));
  return parts.join(" · ");
}

/**
 * Sends one file with the fields of the adding form.
 * @returns {Promise<string>} where the run is, or "" if the file was not taken
 */
function send(form, file) {
  return new Promise((done) => {
    const data = new FormData(form);
    const job = "j" + Date.now().toString(36) + Math.random().toString(36).slice(2, 8);
    data.set("job", job);
    data.set("recording", file, file.name);
    if (!data.get("database")?.size) data.delete("database");
    const box = form.querySelector("#progress"), bar = form.querySelector("#bar"), stage = form.querySelector("#stage"), far = form.querySelector("#far"), out = form.querySelector("#trouble");
    const max = Number(form.dataset.max);
    let progress = null;
    const fail = (text, mend, original, problems) => {
      if (progress) progress.close();
      box.hidden = true;
      out.append(make("p", { class: "trouble", role: "alert" }, text.startsWith(file.name) ? text : file.name + ": " + text));
      if (mend) out.append(make("p", {}, t("What to do: ") + mend));
      if (problems && problems.length) out.append(make("ul", {}, ...problems.map((q) => make("li", {}, `${q.severity}${q.line ? " " + t("line") + " " + q.line : ""}: ${q.text} ${q.mend || ""}`))));
      if (original) out.append(make("a", { href: "/map/" + original }, t("Say what its columns are")));
      done("");
    };
    if (max && file.size > max) { fail(t("the file is larger than what is taken here") + " (" + Math.round(max / 1048576) + " MiB)", t("check that it is the right file; long recordings can be split in the logger")); return; }
    box.hidden = false;
    bar.value = 0;
    stage.textContent = file.name + ": " + t("sending");
    far.textContent = "";
    const request = new XMLHttpRequest();
    request.open("POST", form.getAttribute("action"));
    request.setRequestHeader("Accept", "application/json");
    request.upload.onprogress = (e) => { if (e.lengthComputable) { bar.value = 0.3 * e.loaded / e.total; far.textContent = megabytes(e.loaded, e.total); } };
    progress = new EventSource("/add/progress/" + job);
    progress.addEventListener("progress", (e) => {
      const p = JSON.parse(e.data);
      if (p.stage === "waiting") return;
      stage.textContent = file.name + ": " + t(p.stage);
      far.textContent = howFar(p);
      bar.value = 0.3 + 0.7 * p.share;
      if (p.done) progress.close();
    });
    request.onload = () => {
      let answer = {};
      try { answer = JSON.parse(request.responseText); } catch { /* told below */ }
      if (request.status === 200 && answer.to) { progress.close(); done(answer.to); return; }
      fail(answer.trouble || t("the recording could not be taken"), answer.mend, answer.original, answer.problems);
    };
    request.onerror = () => fail(t("the connection broke while the file was sent, or the file was taken away"), t("if the stick was taken out, put it back in and choose the file again"));
    request.send(data);
  });
}

/** Sends files one after another; one alone leads to its run. */
async function sendAll(form, files) {
  const list = form.querySelector("#taken");
  form.querySelector("#trouble").replaceChildren();
  form.querySelectorAll("button").forEach((b) => { b.disabled = true; });
  let last = "", failed = false;
  for (const file of files) {
    const to = await send(form, file);
    if (!to) { failed = true; continue; }
    last = to;
    list.append(make("li", {}, file.name + ": ", make("a", { href: to }, t("added"))));
  }
  form.querySelector("#progress").hidden = true;
  form.querySelectorAll("button").forEach((b) => { b.disabled = false; });
  if (files.length === 1 && last && !failed) location.href = last;
}

function adopt(form) {
  form.querySelector("#recording").multiple = true;
  form.addEventListener("submit", (e) => { e.preventDefault(); const files = [...form.querySelector("#recording").files]; if (files.length) sendAll(form, files); });
}
let adding = document.getElementById("add");
if (adding) adopt(adding);

// A file dropped on any page is taken there: the adding form is brought to it.
if (document.querySelector('nav a[href="/add"]')) {
  addEventListener("dragover", (e) => { if (e.dataTransfer.types.includes("Files")) { e.preventDefault(); document.body.classList.add("over"); } });
  addEventListener("dragleave", (e) => { if (!e.relatedTarget) document.body.classList.remove("over"); });
  addEventListener("drop", async (e) => {
    const dropped = [...e.dataTransfer.files];
    if (!dropped.length) return;
    e.preventDefault();
    document.body.classList.remove("over");
    if (!adding) {
      const answer = await fetch("/add", { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const form = page.getElementById("add");
      if (!answer.ok || !form) { location.href = "/add"; return; }
      const tray = make("section", { class: "tray", "aria-label": t("Add a recording") }, make("h2", {}, t("Add a recording")), form);
      document.querySelector("main h1").after(tray);
      adding = form;
      adopt(form);
      tray.scrollIntoView();
    }
    // A signal database belongs to the logs that come with it, or come next.
    const files = dropped.filter((f) => !/\.dbc$/i.test(f.name)), base = dropped.find((f) => /\.dbc$/i.test(f.name));
    if (base) { const one = new DataTransfer(); one.items.add(base); adding.querySelector("#database").files = one.files; }
    if (!files.length) { adding.querySelector("#recording").focus(); return; }
    const many = adding.querySelectorAll('select[name="bike"] option').length;
    // With one bike there is nothing to ask; else the person chooses and sends.
    if (many === 1) { sendAll(adding, files); return; }
    const take = new DataTransfer();
    for (const f of files) take.items.add(f);
    adding.querySelector("#recording").files = take.files;
    adding.querySelector('select[name="bike"]').focus();
  });
}

// The column map: a name is dragged onto the column that it is.
for (const chip of document.querySelectorAll("[data-channel]")) chip.addEventListener("dragstart", (e) => { e.dataTransfer.setData("text/plain", chip.dataset.channel); e.dataTransfer.effectAllowed = "copy"; });
for (const row of document.querySelectorAll("[data-column]")) {
  row.addEventListener("dragover", (e) => { if (e.dataTransfer.types.includes("text/plain")) { e.preventDefault(); row.classList.add("here"); } });
  row.addEventListener("dragleave", () => row.classList.remove("here"));
  row.addEventListener("drop", (e) => {
    const name = e.dataTransfer.getData("text/plain"), list = row.querySelector("select");
    row.classList.remove("here");
    if (![...list.options].some((o) => o.value === name)) return;
    e.preventDefault();
    list.value = name;
    typed = true;
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
