// The page works without this script: forms post, links load. The script adds
// the pad, keeps what was typed until it is on record, draws the page anew when
// something was recorded, and shows the make-safe instruction without asking the
// server for it. It holds no words and judges nothing.
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
        restore();
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
  setInterval(() => { if (document.querySelector(".foot") && Date.now() - heard > 1000 * Number(document.body.dataset.after)) connection(false); }, 1000);

  // ---- what was typed, and not recorded, outlives a reload, a lost connection,
  // a locked key and a restarted server, on this device and for the very same
  // question only. A passphrase is never kept; a key that is locked on this
  // device, and a run that is left, end it all. Of a file the name is kept over a
  // reload, the file itself until then.
  const around = ["caution", "state", "resume"], memory = "typed", files = new Map();
  const path = (form) => new URL(form.action).pathname;
  const slot = (form) => path(form) + "\n" + question(form);
  function question(form) {
    if (!path(form).startsWith("/run/")) return [form.elements.asked?.value, form.querySelector("input[name=quantity]")?.value].join(" ");
    const mark = form.querySelector("input[type=hidden][name=mark]").value, [run, last, kind, ...rest] = mark.split(" ");
    if (path(form) === "/run/note") return run;
    // what is said of the car and its cautions is said of that moment; a step stays the same step
    return around.includes(kind) ? mark : [run, kind, ...rest].join(" ");
  }
  function kept() {
    try { return JSON.parse(sessionStorage.getItem(memory)) || {}; } catch { return {}; }
  }
  function store(all) {
    try { sessionStorage.setItem(memory, JSON.stringify(all)); } catch { /* a full or forbidden memory keeps nothing */ }
  }
  const secret = (name) => ["person", "signer"].includes(name) || name.startsWith("passphrase");
  function keep(form) {
    if (!form.querySelector("input:not([type=hidden]), textarea, select")) return; // only read back: as it was typed it is kept already
    const all = kept(), data = [...new FormData(form)].filter(([name, v]) => !secret(name) && typeof v === "string" && form.querySelector(`[name="${CSS.escape(name)}"]:not([type=hidden])`));
    const named = [...(form.querySelector("[type=file]")?.files || [])];
    if (named.length) files.set(slot(form), named);
    all[slot(form)] = { data, named: named.map((f) => f.name) };
    store(all);
  }
  // the answers so far of a dialogue: nothing of the server holds them
  function keepPaper() {
    const form = main().querySelector("form[data-paper]");
    if (!form?.querySelector("input[type=hidden][name=signer]")) return;
    const reading = form.querySelector("[name=quantity], [name=read]"), all = kept();
    const hidden = [...form.querySelectorAll("input[type=hidden]")].map((f) => [f.name, f.value]);
    all[path(form)] = { post: hidden.filter(([name]) => name !== "token" && (reading || name !== "asked")) };
    store(all);
  }
  async function resume(form) {
    const before = kept()[path(form)];
    if (!before?.post || busy || lost || form.querySelector("input[type=hidden][name=signer]")) return;
    busy = true;
    try {
      const answer = await post(form.action, new URLSearchParams([...before.post, ["token", form.elements.token.value]]));
      busy = false;
      const then = new DOMParser().parseFromString(answer.html, "text/html");
      if (!then.querySelector("form[data-paper] input[type=hidden][name=signer]")) { forget(path(form)); return; }
      show(answer.html, "", false);
      say(texts.restored, path(form));
    } catch {
      busy = false;
      connection(false);
    }
  }
  function restore() {
    const all = kept();
    let back = "";
    for (const form of main().querySelectorAll("form[data-answer]")) {
      const was = all[slot(form)];
      if (!was) continue;
      const fields = (name) => [...form.querySelectorAll(`[name="${CSS.escape(name)}"]:not([type=hidden]):not([type=submit]):not(button)`)];
      for (const [name, value] of was.data) {
        const given = fields(name), tick = given.filter((f) => ["radio", "checkbox"].includes(f.type));
        if (tick.some((f) => f.type === "radio" && f.checked)) continue;
        for (const f of tick) if (f.value === value && !f.checked) { f.checked = true; back = path(form); }
        for (const f of given) if (!tick.includes(f) && f.type !== "file" && f.value === "" && value) { f.value = value; back = path(form); }
      }
      const file = form.querySelector("[type=file]"), same = files.get(slot(form));
      if (file && !file.files.length && same) {
        const chosen = new DataTransfer();
        for (const f of same) chosen.items.add(f);
        file.files = chosen.files;
        say(texts.fileKept.replace("{name}", () => was.named.join(", ")));
      } else if (file && !file.files.length && was.named.length) say(texts.fileAgain.replace("{name}", () => was.named.join(", ")));
    }
    if (back) say(texts.restored, back);
  }
  function forget(where) {
    const all = kept();
    for (const key of Object.keys(all)) if (key === where || key.startsWith(where + "\n")) delete all[key];
    for (const key of files.keys()) if (key.startsWith(where + "\n")) files.delete(key);
    store(all);
  }
  function forgetAll() {
    files.clear();
    sessionStorage.removeItem(memory);
  }

  // say tells something above the page; where gives a key that begins the form
  // of that address anew.
  function say(text, where) {
    let line = main().querySelector(".offline:not(.down)");
    if (!line) {
      line = document.createElement("p");
      line.className = "offline";
      line.setAttribute("role", "alert");
      main().prepend(line);
    }
    if (line.textContent.includes(text)) return;
    const more = document.createElement("span");
    more.textContent = text + " ";
    line.append(more);
    if (where && location.pathname === where) {
      const anew = document.createElement("a");
      anew.className = "key";
      anew.href = where;
      anew.dataset.forget = where;
      anew.textContent = texts.anew;
      line.append(anew);
    }
  }

  // ---- sending an answer: once, and only while connected
  async function send(form, button) {
    if (busy) return;
    const body = new FormData(form, button);
    const plain = form.enctype !== "multipart/form-data";
    keep(form);
    if (lost) { say(texts.offline); return; }
    busy = true;
    for (const f of files.get(slot(form)) || []) // it may have been changed or taken away since it was chosen
      if (!await f.slice(0, 1).arrayBuffer().catch(() => null)) {
        busy = false;
        files.delete(slot(form));
        form.querySelector("[type=file]").value = "";
        say(texts.fileAgain.replace("{name}", () => f.name));
        return;
      }
    main().setAttribute("aria-busy", "true");
    try {
      const answer = await post(form.action, plain ? new URLSearchParams(body) : body);
      if (answer.ok && answer.redirected) { // it is on record: what was only drawn anew, such as a reading to be read back, is not
        const kind = form.querySelector("input[type=hidden][name=mark]")?.value.split(" ")[2];
        if (["/run/lock", "/run/leave"].includes(path(form))) forgetAll();
        else forget(around.includes(kind) ? slot(form) : path(form)); // the step that waits behind the car's state waits with what was typed
      }
      busy = false;
      show(answer.html, answer.redirected, true);
    } catch (e) {
      busy = false;
      connection(false);
      say(e.message === "unknown" ? texts.unknown : texts.offline);
    } finally {
      main().querySelector("[data-sending]")?.remove();
      main().removeAttribute("aria-busy");
    }
  }
  // A file tells how far it has come. It is given up when nothing moves for a
  // while; the reply to a large one may take longer: it is analysed first.
  function post(address, body) {
    return new Promise((done, fail) => {
      const x = new XMLHttpRequest(), file = body instanceof FormData;
      let timer = 0, sent = false;
      const wait = (seconds) => { clearTimeout(timer); timer = setTimeout(() => x.abort(), 1000 * seconds); };
      x.open("POST", address);
      x.setRequestHeader("Accept", "text/html");
      if (file) x.upload.onprogress = (e) => { wait(30); if (e.lengthComputable) sending(e.loaded / e.total); };
      x.upload.onload = () => { sent = true; wait(file ? 300 : 10); };
      x.onload = () => {
        clearTimeout(timer);
        const moved = new URL(x.responseURL).pathname !== new URL(address, location.href).pathname;
        done({ ok: x.status >= 200 && x.status < 300, html: x.responseText, redirected: moved ? x.responseURL : "" });
      };
      x.onerror = () => { clearTimeout(timer); fail(new Error("offline")); };
      x.onabort = () => fail(new Error(sent || !file ? "unknown" : "offline"));
      wait(file ? 30 : 10);
      x.send(body);
    });
  }
  function sending(part) {
    let bar = main().querySelector("[data-sending]");
    if (!bar) {
      bar = document.createElement("p");
      bar.className = "notice sending";
      bar.dataset.sending = "";
      bar.setAttribute("role", "status");
      bar.append(document.createElement("span"), document.createElement("progress"));
      main().prepend(bar);
    }
    const percent = String(Math.floor(100 * part));
    bar.firstChild.textContent = texts.sending.replace("{percent}", percent);
    bar.lastChild.value = part;
    bar.lastChild.setAttribute("aria-label", bar.firstChild.textContent);
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
    keepPaper();
    restore();
    countdown();
  }
  let active = null;
  addEventListener("focusin", (e) => { if (e.target.matches?.("[data-number]")) active = e.target; });
  addEventListener("input", (e) => {
    if (e.target.matches("[data-number]")) e.target.value = number(e.target.value);
    const form = e.target.closest?.("form[data-answer]");
    if (form) keep(form);
  });
  addEventListener("change", (e) => {
    const form = e.target.closest?.("form[data-answer]");
    if (!form) return;
    if (e.target.type === "file") files.delete(slot(form)); // another file, or none
    keep(form);
  });
  addEventListener("click", (e) => {
    const key = e.target.closest("[data-key]");
    if (key) {
      const form = key.closest("form");
      const field = active && form.contains(active) ? active : form.querySelector("[data-number]");
      press(field, key.dataset.key);
      keep(form);
      return;
    }
    if (e.target.closest("[data-safe-close]")) { document.getElementById("safe").hidden = true; main().focus(); }
    const anew = e.target.closest("[data-forget]");
    if (anew) forget(anew.dataset.forget || path(anew.closest("form")));
  });
  addEventListener("submit", (e) => {
    if (e.target.matches("[data-stop]")) { e.preventDefault(); stop(e.target); }
    else if (e.target.matches("[data-answer]")) { e.preventDefault(); send(e.target, e.submitter); }
  });
  addEventListener("popstate", refresh);

  // ---- a waveform: the keys' views in place, the drawing shown when it is
  // there; pushed sideways it is drawn anew where it was left
  async function view(address, key) {
    try {
      const answer = await fetch(address), then = new DOMParser().parseFromString(await answer.text(), "text/html");
      const now = document.getElementById("scope"), next = then.getElementById("scope");
      if (!answer.ok || !now || !next) { location.href = address; return; }
      const picture = next.querySelector("img");
      const drawn = new Image();
      drawn.src = picture.getAttribute("src");
      await drawn.decode();
      document.querySelector("#main h1").textContent = then.querySelector("#main h1").textContent;
      now.replaceWith(document.adoptNode(next));
      history.replaceState(null, "", address);
      if (key) (document.querySelector(`[data-view="${key}"]`) || main()).focus({ preventScroll: true });
    } catch { connection(false); }
  }
  addEventListener("click", (e) => {
    const key = e.target.closest("[data-view]");
    if (key && !lost) { e.preventDefault(); view(key.getAttribute("href"), key.dataset.view); }
  });
  let pushed = null;
  addEventListener("pointerdown", (e) => {
    if (e.target.matches("#scope img")) pushed = { x: e.clientX, wide: e.target.clientWidth };
  });
  addEventListener("pointercancel", () => { pushed = null; });
  addEventListener("pointerup", (e) => {
    const scope = document.getElementById("scope");
    if (!pushed || !scope) return;
    const [lo, hi, from, to] = ["lo", "hi", "from", "to"].map((n) => Number(scope.dataset[n])), width = to - from;
    const move = Math.min(Math.max(from - (e.clientX - pushed.x) / pushed.wide * width, lo), hi - width) - from;
    pushed = null;
    if (Math.abs(move) > width / 50 && !lost) view(`${location.pathname}?from=${from + move}&to=${to + move}`);
  });

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
  for (const form of main().querySelectorAll("form[data-paper]")) resume(form);
  if (sessionStorage.getItem("stop")) stop(document.querySelector("[data-stop]"));
  listen();
})();
