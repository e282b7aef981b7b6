// What pages do more with a script: update themselves, and take a single key where it says so.
// Every page works without it.

const live = document.querySelector("[data-live]");
if (live) {
  let known = live.dataset.signature;
  const told = document.getElementById("live-told");
  const stream = new EventSource(live.dataset.live);
  // The stream ends for good when nobody has used the sign-in for a while: a list that no longer
  // renews itself must not look as if it did.
  stream.addEventListener("error", async () => {
    if (stream.readyState !== EventSource.CLOSED) return;
    told.textContent = live.dataset.ended;
    told.className = "told";
    if (live.contains(document.activeElement) && document.activeElement.matches("input, textarea")) return;
    const answer = await fetch(location.href, { headers: { "X-Renews": "1" } });
    if (answer.redirected) location.reload();
  });
  stream.addEventListener("message", (event) => {
    if (event.data === known) return;
    const typing = live.contains(document.activeElement) &&
      document.activeElement.matches("input, select, textarea");
    if (typing) {
      told.textContent = live.dataset.waiting;
      return;
    }
    renew(event.data);
  });

  async function renew(signature) {
    const answer = await fetch(location.href, { headers: { Accept: "text/html", "X-Renews": "1" } });
    if (!answer.ok || answer.redirected) return location.reload();
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const focused = document.activeElement?.id;
    const fresh = page.querySelector("[data-live]");
    if (!fresh) return;
    live.replaceChildren(...fresh.childNodes);
    for (const place of ["#banners", "#places", "#counts"]) {
      const old = document.querySelector(place), now = page.querySelector(place);
      if (old && now) old.replaceChildren(...now.childNodes);
    }
    document.title = page.title;
    known = signature;
    if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
    told.textContent = live.dataset.renewed;
  }
}

// Single keys work only while the focus is inside the part that names them, and never in a field.
const keyed = document.querySelector("[data-keys]");
if (keyed) {
  document.getElementById("keys")?.removeAttribute("hidden");
  keyed.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.matches("input, select, textarea")) return;
    const pressed = keyed.querySelector(`button[data-key="${CSS.escape(event.key)}"]`);
    if (pressed) {
      event.preventDefault();
      pressed.click();
    }
    const step = { j: 1, k: -1 }[event.key];
    if (step) {
      const links = [...keyed.querySelectorAll("[data-step]")];
      const here = links.findIndex((link) => link.closest("article")?.contains(event.target));
      links[Math.min(Math.max(here + step, 0), links.length - 1)]?.focus();
    }
  });
}
