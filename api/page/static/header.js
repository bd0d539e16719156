// Pins chosen on the drawing of the header: a touch gives its pin to the zone that was touched last, or to the last
// one; where the form is about one zone, to that.

const drawing = document.querySelector("#drawing");
const choice = (row) => row.querySelector("select");
const alone = drawing?.dataset.zone === undefined ? null : document.querySelector("#f-pin")?.parentElement;
const rows = alone ? [alone] : [...document.querySelectorAll("[data-row]")];
const numberOf = (row) => row.dataset.row ?? drawing.dataset.zone;

function draw() {
  const taken = new Map(rows.toReversed().map((each) => [choice(each).value, numberOf(each)]));
  for (const pin of drawing.querySelectorAll("[data-bcm]")) {
    const zone = taken.get(pin.dataset.bcm);
    const mark = pin.querySelector(".in");
    pin.classList.toggle("taken", zone !== undefined);
    mark.textContent = zone ?? mark.dataset.number;
  }
}

if (drawing && rows.length > 0) {
  let row = rows.at(-1);
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
