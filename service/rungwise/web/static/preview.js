// A form whose choice is shown at once: [data-preview] names what its answer replaces.
// Without it the form's own button asks for the same page with the choice in its address.

const form = document.querySelector("form[data-preview]");
if (form) {
  const told = document.getElementById("preview-told");
  const chosen = form.querySelector("input:checked");
  const rungs = chosen?.closest("[data-rungs]");
  if (rungs) {
    const row = chosen.closest("li").getBoundingClientRect();
    const box = rungs.getBoundingClientRect();
    rungs.scrollTop += row.top - box.top - (box.height - row.height) / 2;
  }
  let asked;
  const show = async () => {
    asked?.abort();
    asked = new AbortController();
    const address = `${location.pathname}?${new URLSearchParams(new FormData(form))}`;
    let answer;
    try {
      answer = await fetch(address, { headers: { Accept: "text/html" }, signal: asked.signal });
    } catch (error) {
      if (error.name === "AbortError") return;
      location.assign(address);
      return;
    }
    // A sign-in that ended, or a trouble: the page itself says it better.
    if (!answer.ok || answer.redirected) return location.assign(address);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const old = document.getElementById(form.dataset.preview);
    const fresh = page.getElementById(form.dataset.preview);
    if (!old || !fresh) return location.assign(address);
    // What was typed for one choice is kept for the next; a box to tick is asked afresh.
    for (const field of old.querySelectorAll("input[type=text], input:not([type]), textarea")) {
      const same = field.id && fresh.querySelector(`#${CSS.escape(field.id)}`);
      if (same) same.value = field.value;
    }
    old.replaceChildren(...fresh.childNodes);
    history.replaceState(null, "", address);
    if (told) told.textContent = old.dataset.said ? `${old.dataset.said} ${old.querySelector("[data-says]")?.textContent ?? ""}` : "";
  };
  form.addEventListener("change", show);
  // Chosen while this script was still on its way.
  if (chosen && !chosen.defaultChecked) show();
}
