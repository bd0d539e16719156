// Helps with the set-up: the phone's own place and time zone, pins chosen on the drawing; and waits for the garden.

const field = (name) => document.querySelector(`[name="${name}"]`);

const phoneZone = field("phone_zone");
if (phoneZone) phoneZone.value = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";

// Browsers tell a place to encrypted pages, and to the board's own screen, only.
const here = document.querySelector("#here");
if (here && isSecureContext && navigator.geolocation) {
  here.hidden = false;
  here.querySelector("button").addEventListener("click", () => {
    navigator.geolocation.getCurrentPosition(({ coords }) => {
      field("place").value = `${coords.latitude.toFixed(5)}, ${coords.longitude.toFixed(5)}`;
    }, () => { here.hidden = true; });
  });
}

// A touch on the drawing gives its pin to the zone that was touched last, or to the last one.
const drawing = document.querySelector("#drawing");
if (drawing) {
  const rows = [...document.querySelectorAll("[data-row]")];
  let row = rows.at(-1);
  const choice = (each) => each.querySelector("select");
  const draw = () => {
    const taken = new Map(rows.toReversed().map((each) => [choice(each).value, each.dataset.row]));
    for (const pin of drawing.querySelectorAll("[data-bcm]")) {
      const zone = taken.get(pin.dataset.bcm);
      const mark = pin.querySelector(".in");
      pin.classList.toggle("taken", zone !== undefined);
      mark.textContent = zone ?? mark.dataset.number;
    }
  };
  for (const each of rows) {
    each.addEventListener("focusin", () => { row = each; });
    choice(each).addEventListener("change", draw);
  }
  drawing.addEventListener("click", ({ target }) => {
    const pin = target.closest("[data-bcm]");
    if (!pin) return;
    choice(row).value = pin.dataset.bcm;
    draw();
  });
}

// The board answers again once the lights are right.
if (document.querySelector("[data-await]")) {
  const look = async () => {
    try {
      const answer = await fetch("/health", { headers: { accept: "application/json" } });
      if (answer.ok && (answer.headers.get("content-type") ?? "").includes("json")) return location.assign("/");
      if (answer.status === 401) return location.assign("/");
    } catch {
      // not there yet
    }
    setTimeout(look, 700);
  };
  setTimeout(look, 1000);
}
