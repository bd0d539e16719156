// The form of a program: shows what it would do while it is filled in, and adds or removes without a reload. All of
// it is worked out and drawn by the board.

const PAUSE_MS = 700;

let timer = 0;
let asked = null;
let edited = null; // the field that was filled in last

async function ask(form, address, button) {
  asked?.abort();
  asked = new AbortController();
  const body = new URLSearchParams(new FormData(form, button));
  const answer = await fetch(address, { method: "POST", body, headers: { accept: "text/html" }, signal: asked.signal });
  if (!answer.headers.get("content-type")?.startsWith("text/html")) throw new Error(String(answer.status));
  return new DOMParser().parseFromString(await answer.text(), "text/html");
}

// Puts what was drawn anew in the place of the old, but for what a person is just filling in.
async function see(form) {
  let fresh;
  try {
    fresh = await ask(form, form.dataset.preview);
  } catch {
    return; // the button says what is wrong
  }
  for (const now of fresh.querySelectorAll("[data-part], #preview")) {
    const old = now.id === "preview" ? document.getElementById("preview") : document.querySelector(`[data-part="${now.dataset.part}"]`);
    const active = document.activeElement;
    const isHere = old?.contains(active);
    if (old === null || (isHere && old.contains(edited))) continue;
    old.replaceWith(document.adoptNode(now));
    if (isHere) document.getElementsByName(active.name)[0]?.focus({ preventScroll: true });
  }
}

function onChange({ target }) {
  const form = target.closest("form[data-preview]");
  if (form === null) return;
  edited = target;
  asked?.abort();
  clearTimeout(timer);
  timer = setTimeout(see, PAUSE_MS, form);
}

document.addEventListener("input", onChange);

document.addEventListener("submit", async (event) => {
  const form = event.target;
  const button = event.submitter;
  if (!form.matches("form[data-preview]") || ["save", "everywhere"].includes(button?.value) || form.dataset.plain) return;
  event.preventDefault();
  clearTimeout(timer);
  button?.setAttribute("aria-busy", "true");
  let fresh;
  try {
    fresh = await ask(form, button?.formAction ?? form.action, button);
  } catch (error) {
    if (error.name === "AbortError") return;
    form.dataset.plain = "yes"; // as without this script: the browser says what is wrong
    return form.requestSubmit(button);
  }
  const open = [...document.querySelectorAll("main details[open]")].map((each) => each.id);
  const name = document.activeElement?.name;
  const y = scrollY;
  document.querySelector("main").replaceWith(document.adoptNode(fresh.querySelector("main")));
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  scrollTo({ top: y, behavior: "instant" });
  if (button?.hidden) document.getElementsByName(name)[0]?.focus({ preventScroll: true });
  else if (button?.value) {
    document.querySelector(`main button[value="${button.value}"]`)?.focus({ preventScroll: true });
    see(document.querySelector("form[data-preview]"));
  } else document.getElementById("preview")?.scrollIntoView({ block: "nearest", behavior: "instant" });
});
