// The page works without this script: forms post, links load. The script adds
// the pad, keeps what was typed while the connection is lost, draws the page
// anew when something was recorded, and shows the make-safe instruction
// without asking the server for it. It holds no words and judges nothing.
"use strict";
(() => {
  const texts = document.getElementById("texts").dataset;
  let version = document.body.dataset.version;
  let busy = false, heard = Date.now(), lost = false, stopOwed = null;
  const main = () => document.getElementById("main");

  // ---- drawing a page that came over the line, in place of this one
  function show(html, address, focus) {
    const page = new DOMParser().parseFromString(html, "text/html");
    if (!page.getElementById("main")) { location.href = address; return; }
    version = page.body.dataset.version;
    document.title = page.title;
    document.body.className = page.body.className + (lost ? " lost" : "");
    for (const what of ["#main", ".head", ".nav", ".foot .link", "#safe ol"]) {
      const now = document.querySelector(what), then = page.querySelector(what);
      if (now && then) now.replaceWith(document.adoptNode(then));
    }
    const token = page.querySelector("[data-stop] [name=token]");
    if (token) document.querySelector("[data-stop] [name=token]").value = token.value;
    if (address && address !== location.href) history.pushState(null, "", address);
    dress();
    if (focus) { scrollTo(0, 0); main().focus({ preventScroll: true }); }
  }

  async function refresh() {
    if (busy) return;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      const html = await answer.text();
      if (busy) return;
      const then = new DOMParser().parseFromString(html, "text/html");
      const drawn = then.getElementById("main"), same = drawn && drawn.dataset.mark === main().dataset.mark;
      if (same && main().querySelector("form[data-answer]")) {
        version = then.body.dataset.version; // nothing of the step has changed: what is being typed stays
        const who = then.querySelector(".foot .link");
        if (who) document.querySelector(".foot .link").replaceWith(document.adoptNode(who));
        return;
      }
      show(html, answer.redirected ? answer.url : "", !same);
    } catch { connection(false); }
  }

  // ---- the connection
  function connection(up) {
    if (up) heard = Date.now();
    if (up === !lost) return;
    lost = !up;
    document.body.classList.toggle("lost", lost);
    for (const b of main().querySelectorAll("form[data-answer] button:not([type=button])")) b.disabled = lost;
    if (up) { refresh(); sendStop(); }
  }
  function listen() {
    if (!document.querySelector(".foot")) return;
    const events = new EventSource("/events");
    events.onmessage = (e) => {
      const news = e.data !== version;
      connection(true);
      if (news) refresh();
    };
    events.onerror = () => {
      connection(false);
      if (events.readyState === EventSource.CLOSED) setTimeout(listen, 1000);
    };
  }
  setInterval(() => { if (Date.now() - heard > 1000 * Number(document.body.dataset.after)) connection(false); }, 1000);

  // ---- what was typed outlives a lost connection and a restarted server, for
  // the very same question only
  const memory = "typed";
  function keep(form) {
    const data = [...new FormData(form)].filter(([name]) => !["token", "mark", "passphrase", "person", "file"].includes(name));
    sessionStorage.setItem(memory, JSON.stringify({ mark: form.elements.mark?.value, action: form.action, data: data.filter(([, v]) => typeof v === "string") }));
  }
  function restore() {
    let kept;
    try { kept = JSON.parse(sessionStorage.getItem(memory)); } catch { return; }
    if (!kept) return;
    const form = [...main().querySelectorAll("form[data-answer]")].find((f) => f.action === kept.action);
    if (!form || form.elements.mark?.value !== kept.mark) {
      if (form) sessionStorage.removeItem(memory); // the run has gone on
      return;
    }
    for (const [name, value] of kept.data)
      for (const field of form.querySelectorAll(`[name="${CSS.escape(name)}"]`))
        if (field.type === "radio" || field.type === "checkbox") { if (field.value === value) field.checked = true; }
        else if (field.type !== "hidden" && field.type !== "submit") field.value = value;
    say(texts.restored);
  }
  const forget = () => sessionStorage.removeItem(memory);

  function say(text) {
    let line = main().querySelector(".offline:not(.down)");
    if (!line) {
      line = document.createElement("p");
      line.className = "offline";
      line.setAttribute("role", "alert");
      main().prepend(line);
    }
    line.textContent = text;
  }

  // ---- sending an answer: once, and only while connected
  async function send(form, button) {
    if (busy) return;
    const body = new FormData(form, button);
    const plain = form.enctype !== "multipart/form-data";
    keep(form);
    if (lost) { say(texts.offline); return; }
    busy = true;
    main().setAttribute("aria-busy", "true");
    const end = new AbortController(), timer = setTimeout(() => end.abort(), plain ? 10000 : 60000);
    try {
      const answer = await fetch(form.action, { method: "POST", body: plain ? new URLSearchParams(body) : body, signal: end.signal });
      const html = await answer.text();
      if (answer.ok) forget();
      busy = false;
      show(html, answer.redirected ? answer.url : "", true);
    } catch {
      busy = false;
      connection(false);
      say(end.signal.aborted ? texts.unknown : texts.offline);
    } finally {
      clearTimeout(timer);
      main().removeAttribute("aria-busy");
    }
  }

  // ---- stop: the instruction first, the record after it
  function stop(form) {
    const safe = document.getElementById("safe");
    safe.hidden = false;
    safe.focus();
    stopOwed = new URLSearchParams(new FormData(form));
    sessionStorage.setItem("stop", "owed"); // also after the page was loaded anew
    sendStop();
  }
  async function sendStop() {
    if (!stopOwed) return;
    const said = document.querySelector("[data-stop-said]");
    said.textContent = said.dataset.sending;
    try {
      stopOwed.set("token", document.querySelector("[data-stop] [name=token]").value);
      const answer = await fetch("/stop", { method: "POST", body: stopOwed, keepalive: true });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const state = page.querySelector(".safe.here .state"), wrong = page.querySelector(".fault");
      said.textContent = (wrong || state || said).textContent;
      if (answer.ok) { stopOwed = null; sessionStorage.removeItem("stop"); }
      refresh();
    } catch {
      said.textContent = said.dataset.kept;
      connection(false);
    }
  }

  // ---- the pad: digits, one decimal sign, a minus, > or <; nothing else
  const number = (text) => text.replace(/−/g, "-").replace(/[^0-9.,<>-]/g, "");
  function press(field, key) {
    let text = field.value;
    const sign = text.match(/^[<>]?-?/)[0], digits = text.slice(sign.length);
    if (key === "back") text = text.slice(0, -1);
    else if (key === "clear") text = "";
    else if (key === "-") text = sign.includes("-") ? sign.replace("-", "") + digits : sign + "-" + digits;
    else if (key === ">" || key === "<") text = (sign[0] === key ? "" : key) + sign.replace(/[<>]/, "") + digits;
    else if ((key === "." || key === ",") && /[.,]/.test(digits)) return;
    else text += key;
    field.value = text.slice(0, 16);
  }

  function dress() {
    const fields = [...main().querySelectorAll("[data-number]")];
    for (const keys of main().querySelectorAll("[data-keys]")) keys.hidden = false;
    for (const f of fields) f.inputMode = "none"; // the pad is the keyboard
    for (const b of main().querySelectorAll("form[data-answer] button:not([type=button])")) b.disabled = lost;
    restore();
    countdown();
  }
  let active = null;
  addEventListener("focusin", (e) => { if (e.target.matches?.("[data-number]")) active = e.target; });
  addEventListener("input", (e) => {
    if (e.target.matches("[data-number]")) e.target.value = number(e.target.value);
  });
  addEventListener("click", (e) => {
    const key = e.target.closest("[data-key]");
    if (key) {
      const form = key.closest("form");
      const field = active && form.contains(active) ? active : form.querySelector("[data-number]");
      press(field, key.dataset.key);
      return;
    }
    if (e.target.closest("[data-safe-close]")) { document.getElementById("safe").hidden = true; main().focus(); }
    if (e.target.closest("[data-forget]")) forget();
  });
  addEventListener("submit", (e) => {
    if (e.target.matches("[data-stop]")) { e.preventDefault(); stop(e.target); }
    else if (e.target.matches("[data-answer]")) { e.preventDefault(); send(e.target, e.submitter); }
  });
  addEventListener("popstate", refresh);

  // ---- how long there is still to wait
  let clock = 0;
  function countdown() {
    clearInterval(clock);
    const line = main().querySelector("[data-wait]");
    if (!line) return;
    const text = line.textContent, first = line.dataset.wait, end = Date.now() + 1000 * Number(first);
    clock = setInterval(() => {
      line.textContent = text.replace(first, String(Math.max(0, Math.ceil((end - Date.now()) / 1000))));
    }, 1000);
  }

  dress();
  if (sessionStorage.getItem("stop")) stop(document.querySelector("[data-stop]"));
  listen();
})();
