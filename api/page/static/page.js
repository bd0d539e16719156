// Keeps a screen as it is now: listens to the board's events, and puts the screen that the board draws in the
// place of the old one. All texts and pictures come from the board; nothing is worked out here.

import { Stream } from "./stream.js";

const MINUTE_MS = 60_000;
const SOON_MS = 150;

let dueTimer = 0;

const live = () => document.querySelector("[data-live]") !== null;

function busy() {
  const field = document.activeElement;
  return field !== null && field.matches("main input, main select, main textarea") || document.querySelector("main [data-changed]") !== null;
}

function put(html) {
  const fresh = new DOMParser().parseFromString(html, "text/html");
  const open = [...document.querySelectorAll("main details[open]")].map((each) => each.id);
  const focused = document.activeElement?.closest("main [id], main li[id]")?.id;
  const button = document.activeElement?.matches?.("main button");
  const y = scrollY;
  for (const part of ["header.top", "main"]) {
    const old = document.querySelector(part);
    const now = fresh.querySelector(part);
    if (old === null || now === null) return location.reload();
    old.replaceWith(document.adoptNode(now));
  }
  document.title = fresh.title;
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  if (focused) {
    const place = document.getElementById(focused);
    (button ? place?.querySelector("button") : place?.querySelector("summary, a, button"))?.focus({ preventScroll: true });
  }
  scrollTo({ top: y, behavior: "instant" });
  prepare();
}

async function refresh() {
  clearTimeout(dueTimer);
  dueTimer = 0;
  if (busy()) return soon(MINUTE_MS / 10);
  try {
    const answer = await fetch(location.pathname + location.search, { headers: { accept: "text/html" } });
    if (answer.redirected) return location.assign(answer.url);
    if (!answer.ok) throw new Error(String(answer.status));
    put(await answer.text());
    fresh(true);
  } catch {
    fresh(false);
  }
}

function soon(ms = SOON_MS) {
  if (dueTimer === 0) dueTimer = setTimeout(refresh, ms);
}

function fresh(is) {
  let mark = document.querySelector(".stale");
  if (is || mark !== null) {
    if (is) mark?.remove();
    return;
  }
  const words = document.body.dataset.stale;
  mark = Object.assign(document.createElement("p"), { className: "stale", textContent: words.replace("{}", document.querySelector("[data-live]")?.textContent ?? "") });
  mark.setAttribute("role", "status");
  document.body.prepend(mark);
}

function hear(what) {
  if (what === "changed") soon();
  else if (what === "lost") fresh(false);
}

// Where a browser can, all its tabs share one stream; a tab that nobody looks at needs none.
function listener() {
  if ("SharedWorker" in window) {
    const shared = new SharedWorker(new URL("./shared.js", import.meta.url), { type: "module" });
    shared.port.onmessage = ({ data }) => hear(data);
    return (isSeen) => shared.port.postMessage(isSeen);
  }
  const stream = new Stream(hear);
  return (isSeen) => {
    if (!isSeen) return stream.close();
    stream.open();
    soon();
  };
}

function prepare() {
  for (const field of document.querySelectorAll("input[data-now]")) field.form.addEventListener("submit", () => { field.value = new Date().toISOString().replace(/\.\d+/, ""); });
}

// A button that changes something shows that it was heard, and the answer takes the screen's place.
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!live() || form.method !== "post" || form.closest("footer")) return;
  event.preventDefault();
  const pressed = event.submitter;
  const fields = new URLSearchParams(new FormData(form, pressed));
  pressed?.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(form.action, { method: "POST", body: fields, headers: { accept: "text/html" } });
    if (!answer.headers.get("content-type")?.startsWith("text/html")) throw new Error(String(answer.status));
    put(await answer.text());
    history.replaceState(null, "", location.pathname + location.search);
  } catch {
    pressed?.removeAttribute("aria-busy");
    fresh(false);
  }
});

if (live()) {
  const listen = listener();
  document.addEventListener("visibilitychange", () => listen(!document.hidden));
  addEventListener("pageshow", () => listen(true));
  addEventListener("pagehide", () => listen(false));
  addEventListener("online", () => soon());
  const everyMs = Number(document.querySelector("[data-live]").dataset.live) || MINUTE_MS;
  setInterval(() => document.hidden || soon(), everyMs);
  listen(!document.hidden);
}
prepare();
