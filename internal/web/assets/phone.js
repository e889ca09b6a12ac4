// Keeps what a rider says through a lost connection: a remark that could not be
// sent stays on the phone and is sent when the crew's machine answers again.
// Every remark has a key of its own, so that one sent twice is written once.
// Without this script the forms work as forms.
"use strict";

(() => {
  const texts = (() => { const e = document.getElementById("words"); try { return e ? JSON.parse(e.textContent) || {} : {}; } catch { return {}; } })();
  /** The text in the language of the page. */
  const t = (s) => texts[s] || s;
  const shelf = "cornerwright-unsent";
  const box = document.getElementById("unsent");
  if (!box) return;
  /** @type {{to: string, body: string, words: string}[]} remarks not sent yet */
  let unsent = [];
  try { unsent = JSON.parse(localStorage.getItem(shelf)) || []; } catch { /* a private window keeps nothing */ }

  /** Writes the shelf and says what is on it. */
  function keep() {
    try { localStorage.setItem(shelf, JSON.stringify(unsent)); } catch { /* likewise */ }
    box.replaceChildren();
    if (!unsent.length) return;
    const p = document.createElement("p");
    p.className = "trouble";
    p.textContent = unsent.length === 1 ? t("One remark is kept on this phone and will be sent:") : unsent.length + " " + t("remarks are kept on this phone and will be sent:");
    const list = document.createElement("ul");
    for (const u of unsent) {
      const li = document.createElement("li");
      li.textContent = u.words + (u.why ? ". " + u.why + " " : "");
      if (u.why) {
        const drop = document.createElement("button");
        drop.type = "button";
        drop.className = "second small";
        drop.textContent = t("drop it");
        drop.onclick = () => { unsent = unsent.filter((v) => v !== u); keep(); };
        li.append(drop);
      }
      list.append(li);
    }
    box.append(p, list);
  }

  /** The token of this page's forms, which may be newer than a kept remark's. */
  function token() {
    const f = document.querySelector('input[name="token"]');
    return f ? f.value : "";
  }

  /** Sends one remark. "sent", "refused" (the server said why) or "lost". */
  async function send(to, body) {
    let answer;
    try {
      answer = await fetch(to, { method: "POST", headers: { "Content-Type": "application/x-www-form-urlencoded", Accept: "text/html" }, body, credentials: "same-origin" });
    } catch { return { how: "lost" }; }
    if (answer.ok) return { how: "sent", url: answer.url };
    return { how: answer.status === 503 || answer.status === 429 ? "lost" : "refused", status: answer.status };
  }

  let busy = false;
  /** Sends what is kept, oldest first. */
  async function flush() {
    if (busy || !unsent.length) return;
    busy = true;
    let any = false;
    for (const u of [...unsent]) {
      if (u.why) continue;
      const form = new URLSearchParams(u.body);
      form.set("token", token());
      const a = await send(u.to, form.toString());
      if (a.how === "lost") break;
      if (a.how === "sent") { unsent = unsent.filter((v) => v !== u); any = true; }
      else u.why = a.status === 401 || a.status === 403 ? t("You are not joined any more: join again, then reload this page.") : t("It was not understood: say it again.");
      keep();
    }
    busy = false;
    if (any && !unsent.length && document.activeElement === document.body) location.reload();
  }

  for (const form of document.querySelectorAll("form[data-remark]")) {
    form.addEventListener("submit", async (e) => {
      e.preventDefault();
      const by = e.submitter;
      const data = new URLSearchParams(new FormData(form));
      if (by && by.name) data.set(by.name, by.value);
      if (by) by.disabled = true;
      const a = await send(form.action, data.toString());
      if (a.how === "sent") { location.href = a.url; return; }
      if (by) by.disabled = false;
      if (a.how === "refused") {
        // The server's own page says what is missing and keeps what was typed.
        if (by && by.name) {
          const h = document.createElement("input");
          h.type = "hidden"; h.name = by.name; h.value = by.value;
          form.append(h);
        }
        form.submit();
        return;
      }
      data.delete("token");
      const says = document.querySelector("#what strong");
      unsent.push({ to: form.action, body: data.toString(), words: data.get("words") || ((says ? says.textContent : data.get("says")) + (data.get("turn") ? ", " + t("turn") + " " + data.get("turn") : "")) });
      keep();
      // The next remark is another one.
      const key = form.querySelector('input[name="key"]');
      key.value = key.value.slice(0, 20) + "-" + Math.random().toString(36).slice(2, 10);
      const words = form.querySelector('[name="words"]');
      if (words) words.value = "";
      box.scrollIntoView();
    });
  }

  for (const u of unsent) delete u.why; // a new page may have a new session
  keep();
  flush();
  addEventListener("online", flush);
  setInterval(flush, 4000);
})();
