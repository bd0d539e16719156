// A code that came with the address, behind its “#”, is filled in, and taken out of the address and the history.

const found = /^#code=([\w-]{1,40})$/.exec(location.hash);
const field = document.querySelector("#code");
if (found && field) {
  field.value = found[1];
  history.replaceState(null, "", location.pathname + location.search);
  document.querySelector("#name")?.focus();
}
