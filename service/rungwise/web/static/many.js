// Ticks on the list of clients: tick all that are shown, and say how many are ticked.
// Without it every tick and act works; acts then say in their preview how many they are over.

const form = document.querySelector("[data-ticks]");
const all = form?.querySelector("[data-tick-all]");
const told = form?.querySelector("[data-ticked]");
const boxes = form ? [...form.querySelectorAll('input[name="client"]')] : [];

function tell() {
  const count = boxes.filter((box) => box.checked).length;
  told.textContent = count ? told.dataset.some.replace("{count}", count) : told.dataset.none;
  all.checked = count === boxes.length;
  all.indeterminate = count > 0 && count < boxes.length;
}

if (form && all && told) {
  all.closest("label").hidden = false;
  all.addEventListener("change", () => {
    for (const box of boxes) box.checked = all.checked;
    tell();
  });
  form.addEventListener("change", (event) => {
    if (event.target !== all) tell();
  });
  // A browser that goes back keeps the ticks.
  tell();
  window.addEventListener("pageshow", tell);
}
