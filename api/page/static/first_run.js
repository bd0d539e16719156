// Helps with the set-up: the phone's own place and time zone, pins chosen on the drawing; and waits for the garden.

import "./header.js";

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
