// Reads a night of the year's picture where a finger, a pointer or the slider is. The sentences come from the
// board, a month at a time.

const figure = document.querySelector("figure.year");
const slide = document.getElementById("slide");
const told = document.getElementById("told");
const strips = [...figure.querySelectorAll("svg.nights[role=img]")];
const months = new Map();
const DAY_MS = 86_400_000;
const first = Date.parse(figure.dataset.first);
const count = Number(figure.dataset.nights);
let wanted = "";
let asking = false;

// A night's name by its place: all in UTC, where every day has 24 hours.
const night = (place) => new Date(first + place * DAY_MS).toISOString().slice(0, 10);

async function month(name) {
  const answer = await fetch(figure.dataset.months + name, { headers: { accept: "text/html" } });
  if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
  return new DOMParser().parseFromString(await answer.text(), "text/html");
}

function read(place) {
  place = Math.min(Math.max(place, 0), count - 1);
  const name = night(place);
  if (name === wanted) return;
  wanted = name;
  slide.value = String(place);
  document.getElementById("night").value = name;
  for (const each of strips) {
    const mark = each.querySelector(".reads");
    mark.setAttribute("transform", `translate(${place})`);
    mark.removeAttribute("visibility");
  }
  told.setAttribute("aria-busy", "true");
  tell();
}

// One question at a time: whoever sweeps over a year is told the night where they stay.
async function tell() {
  if (asking) return;
  const name = wanted;
  const of = name.slice(0, 7);
  try {
    asking = true;
    if (!months.has(of)) months.set(of, await month(of));
  } catch {
    if (name === wanted) told.textContent = told.dataset.lost;
  } finally {
    asking = false;
  }
  if (name !== wanted) return tell();
  told.removeAttribute("aria-busy");
  const found = months.get(of)?.querySelector(`[data-night="${name}"]`);
  if (!found) return;
  told.replaceChildren(document.importNode(found, true));
  slide.setAttribute("aria-valuetext", found.querySelector("h2").textContent);
}

function at(event) {
  if (strips.length === 0) return;
  const strip = strips[0].getBoundingClientRect();
  if (event.clientX < strip.left || event.clientX > strip.right) return;
  read(Math.floor(((event.clientX - strip.left) / strip.width) * count));
}

figure.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse" || event.buttons) at(event); });
figure.addEventListener("click", at);
slide.addEventListener("input", () => read(Number(slide.value)));
slide.hidden = false;
slide.parentElement.hidden = false;
const hint = document.getElementById("hint");
if (hint) hint.textContent = hint.dataset.hint;
if (figure.dataset.read) wanted = night(Number(figure.dataset.read));
