// The office's page by keyboard. Every page works without this; nothing here knows what a job is.
"use strict";

const all = (selector, within = document) => [...within.querySelectorAll(selector)];
const one = (selector, within = document) => within.querySelector(selector);
// A key meant for the page before must not answer the question that has just come up.
const TOO_SOON_MS = 250;
const POLL_MS = 2000;
let sound = null;
let sending = false;
let waking = 0;

function justShown() {
  delete document.body.dataset.ready;
  clearTimeout(waking);
  waking = setTimeout(() => { document.body.dataset.ready = ""; }, TOO_SOON_MS);
}

// -- keys ---------------------------------------------------------------------------------------------------------------

const keysOn = () => localStorage.getItem("sayback-keys") !== "off";
const visible = (element) => element.getClientRects().length > 0 && !element.disabled;
const row = () => document.activeElement.closest("tr, .said, li");

function showKeys() {
  document.documentElement.classList.toggle("keys-off", !keysOn());
  for (const button of all("[data-keys]")) button.textContent = keysOn() ? "Turn keys off" : "Turn keys on";
}

function move(by) {
  const rows = all("[data-row]").filter(visible);
  const at = rows.indexOf(document.activeElement);
  const next = rows[at < 0 ? (by > 0 ? 0 : rows.length - 1) : Math.min(Math.max(at + by, 0), rows.length - 1)];
  if (next) { next.focus(); next.scrollIntoView({ block: "nearest" }); }
  return Boolean(next);
}

function playOrShow(where) {
  if (where?.dataset.sound) play(where.dataset.sound);
  else if (where?.dataset.picture) show(where.dataset.picture, where.innerText);
  else return false;
  return true;
}

function play(address) {
  if (sound) sound.pause();
  sound = new Audio(address);
  sound.play().catch(() => tell("The sound cannot be played."));
}

function show(address, told) {
  const box = one("#shown");
  one("img", box).src = address;
  one("img", box).alt = `The part of the picture that was read: ${told.split("\n")[0]}`;
  one("p", box).textContent = told.replace(/\s+/g, " ");
  box.showModal();
}

// What a key does on a line that has the focus comes before what it does on the page.
const ON_A_ROW = {
  p: (where) => playOrShow(where),
  e: (where) => one("a[href*='/reading/']", where) && go(one("a[href*='/reading/']", where).href + "#value"),
  h: (where) => one("a[href*='/reading/']", where) && go(one("a[href*='/reading/']", where).href + "#h-hist"),
};

function go(address) {
  location.assign(address);
  return true;
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
  const field = document.activeElement.closest("input:not([type=checkbox]):not([type=file]), select, textarea");
  if (field) {
    if (event.key === "Escape") field.blur();
    return;
  }
  if (one("#shown").open || event.repeat || (!keysOn() && event.key !== "?")) return;
  const done = () => event.preventDefault();
  if (event.key === "j" || event.key === "ArrowDown") { if (move(1)) done(); return; }
  if (event.key === "k" || event.key === "ArrowUp") { if (move(-1)) done(); return; }
  const here = row();
  if (here && ON_A_ROW[event.key]?.(here)) { done(); return; }
  const target = all("[data-key]").find((each) => each.dataset.key === event.key && visible(each));
  if (!target) return;
  done();
  if ("settles" in target.dataset && !("ready" in document.body.dataset)) return;
  target.focus();
  if (target.matches("input")) {
    if (target.defaultValue && target.id === "line") target.setSelectionRange(target.value.length, target.value.length);
    else target.select();
  } else if ("focus" in target.dataset) return; // what weighs much is pressed by a key of its own: Enter
  else target.click();
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button, a");
  if (!button) return;
  if (button.dataset.play) {
    const player = document.getElementById(button.dataset.play);
    player.currentTime = 0;
    player.play().catch(() => tell("The sound cannot be played."));
  } else if ("rowplay" in button.dataset) {
    event.preventDefault();
    playOrShow(button.closest("[data-sound]"));
  } else if ("print" in button.dataset) {
    window.print();
  } else if ("keys" in button.dataset) {
    localStorage.setItem("sayback-keys", keysOn() ? "off" : "on");
    showKeys();
  }
});

// -- forms: sent in place, so that nothing typed is lost when it is refused or the office is closed ---------------------

function tell(text) {
  const line = document.createElement("p");
  line.textContent = text;
  one("#wrong").replaceChildren(line);
  line.scrollIntoView({ block: "nearest" });
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if ("upload" in form.dataset) { event.preventDefault(); upload(form); return; }
  if (!("live" in form.dataset)) return;
  event.preventDefault();
  if (sending) return;
  sending = true;
  const back = one("input[name=back]", form);
  if (back && !back.value) back.value = location.pathname;
  const data = new FormData(form, event.submitter);
  try {
    const files = form.enctype === "multipart/form-data";
    const answer = await fetch(form.action, {
      method: "POST",
      headers: { accept: "application/json", "x-with-page": "1" },
      body: files ? data : new URLSearchParams(data),
    });
    const said = await answer.json();
    if (answer.ok) {
      for (const field of all(FIELDS, form)) sessionStorage.removeItem(draft(field));
      await enter(said.go, said.page);
    } else {
      tell(said.error);
    }
  } catch {
    tell("The office does not answer. What you typed is kept; start it again if it was closed, and send this once more.");
  }
  sending = false;
});

// The page that follows an answer takes the place of this one without being opened anew: that is several times quicker.
async function enter(address, html) {
  if (!html) {
    const answer = await fetch(address, { headers: { accept: "text/html" } });
    if (!answer.ok) { go(address); return; }
    html = await answer.text();
  }
  const fresh = new DOMParser().parseFromString(html, "text/html");
  if (!one("main", fresh)) { go(address); return; }
  for (const part of ["main", "#told", "#wrong", ".bar"]) one(part).replaceChildren(...one(part, fresh).childNodes);
  for (const name of ["job", "position"]) {
    if (name in fresh.body.dataset) document.body.dataset[name] = fresh.body.dataset[name];
    else delete document.body.dataset[name];
  }
  document.title = fresh.title;
  history.pushState(null, "", address);
  sound?.pause();
  scrollTo(0, 0);
  one("main").focus({ preventScroll: true });
  shown();
}

window.addEventListener("popstate", () => location.reload());

// -- drafts: what is typed and not sent stays with its field, and is put back only over the value it was typed over -----

const FIELDS = "input:not([type=hidden], [type=file]), select";
const isTick = (field) => field.type === "checkbox";
const given = (field) => (isTick(field) ? String(field.checked) : field.value);

function draft(field) {
  const asked = new URLSearchParams(location.search);
  asked.delete("done"); // what was just done is told once; the place is the same
  return `draft ${location.pathname}?${asked} ${field.id || field.name}`;
}

function began(field) {
  if (isTick(field)) return String(field.defaultChecked);
  if (!field.matches("select")) return field.defaultValue;
  return (all("option", field).find((each) => each.defaultSelected) ?? field.options[0])?.value ?? "";
}

function put(field, text) {
  if (isTick(field)) field.checked = text === "true";
  else field.value = text;
}

function inWords(field, text) {
  if (isTick(field)) return text === "true" ? "ticked" : "not ticked";
  if (field.matches("select")) return all("option", field).find((each) => each.value === text)?.text ?? text;
  return text;
}

function keepDrafts() {
  for (const old of all(".unsent")) old.remove();
  for (const field of all("form[data-live]").flatMap((form) => all(FIELDS, form))) {
    const kept = JSON.parse(sessionStorage.getItem(draft(field)) ?? "null");
    if (kept === null) continue;
    const same = kept.began === began(field);
    if (same) put(field, kept.text);
    const stands = inWords(field, began(field)), was = inWords(field, kept.began);
    tellUnsent(field, same
      ? `not sent yet${stands ? `; stands as ${stands}` : ""}`
      : `“${inWords(field, kept.text)}” was never sent, and is not put back: it was over “${was}”, which has changed`);
  }
}

function tellUnsent(field, text) {
  const line = document.createElement("span");
  const drop = document.createElement("button");
  line.className = "unsent";
  drop.type = "button";
  drop.textContent = "Drop it";
  drop.setAttribute("aria-label", `Drop it: ${field.labels?.[0]?.textContent.trim() ?? field.name}`);
  drop.addEventListener("click", () => {
    sessionStorage.removeItem(draft(field));
    put(field, began(field));
    line.remove();
    field.focus();
  });
  line.append(text, " ", drop);
  (field.closest("label") ?? field).after(line);
}

document.addEventListener("input", (event) => {
  const field = event.target;
  if (!field.matches(FIELDS) || !field.form || !("live" in field.form.dataset)) return;
  if (given(field) === began(field)) sessionStorage.removeItem(draft(field));
  else sessionStorage.setItem(draft(field), JSON.stringify({ began: began(field), text: given(field) }));
});

function upload(form) {
  if (sending) return;
  sending = true;
  const bar = one("progress", form);
  const request = new XMLHttpRequest();
  const ended = (text) => { sending = false; bar.hidden = true; if (text) tell(text); };
  bar.hidden = false;
  request.upload.onprogress = (event) => { if (event.lengthComputable) bar.value = (100 * event.loaded) / event.total; };
  request.onerror = () => ended("The upload was cut off; nothing of it was added. Send it once more.");
  request.onload = () => {
    if (request.status < 300) { form.reset(); ended(""); look(true); return; }
    let said = "";
    try { said = JSON.parse(request.responseText).error; } catch { said = `It was refused (${request.status}).`; }
    ended(said);
  };
  request.open("POST", form.action);
  request.setRequestHeader("accept", "application/json");
  request.send(new FormData(form));
}

// -- what others do meanwhile -------------------------------------------------------------------------------------------

const page = document.body.dataset;
let reading = "";

async function look(now = false) {
  const job = page.job;
  if (!job || (document.hidden && !now)) return;
  let state;
  try {
    const answer = await fetch(`/job/${encodeURIComponent(job)}/state`, { headers: { accept: "application/json" } });
    if (!answer.ok) return;
    state = await answer.json();
  } catch {
    return; // closed for the moment; the next look tells
  }
  const uploads = JSON.stringify([state.uploads, state.busy && state.unread]);
  if (job !== page.job) return; // another page has come meanwhile
  const changed = state.position > Number(page.position);
  if (location.pathname === `/job/${encodeURIComponent(job)}` && (changed || uploads !== reading)) {
    reading = uploads;
    page.position = state.position;
    if (!document.activeElement.closest("form") || now) await redraw();
    progress(state);
  } else if (changed) {
    page.position = state.position;
    others(state);
  }
}

// The job's own page is drawn anew under the focus; whoever is typing is left alone.
async function redraw() {
  const answer = await fetch(location.pathname, { headers: { accept: "text/html" } });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  const rows = all("[data-row]");
  const held = rows.indexOf(document.activeElement) >= 0 ? document.activeElement.getAttribute("href") : null;
  one("main").replaceChildren(...one("main", fresh).childNodes);
  keepDrafts();
  if (held) all("[data-row]").find((each) => each.getAttribute("href") === held)?.focus();
}

function progress(state) {
  if (!state.busy) return;
  for (const each of state.unread) {
    const line = document.createElement("p");
    const of = each.of ? ` of ${Math.round(each.of)} s` : "";
    line.textContent = `${each.name}: heard up to ${Math.round(each.done)} s${of}`;
    one("#reading")?.append(line);
  }
}

function others(state) {
  const line = document.createElement("p");
  const link = document.createElement("a");
  const mine = location.pathname.match(/\/question\/([^/]+)$/)?.[1];
  const gone = mine && !state.questions.includes(mine) ? "This question is settled. " : "";
  link.href = gone ? `/job/${encodeURIComponent(page.job)}` : location.pathname;
  link.dataset.key = "r";
  link.textContent = "Show the job as it is now (r)";
  line.className = "note";
  line.append(`${gone}${state.last}. `, link);
  one("#told").replaceChildren(line);
}

function shown() {
  justShown();
  showKeys();
  keepDrafts();
}

shown();
if (location.hash === "#value") one("#value")?.focus();
else if (location.hash) one(location.hash)?.scrollIntoView();
setInterval(look, POLL_MS);
