// Passkeys: asks the service what to sign, lets the device sign it, and sends the form with the
// answer. A form that needs them stays hidden where the browser has none.

const bytes = (text) =>
  Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (letter) => letter.charCodeAt(0));
const text = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");

function readable(options) {
  options.challenge = bytes(options.challenge);
  if (options.user) options.user.id = bytes(options.user.id);
  for (const one of options.excludeCredentials ?? []) one.id = bytes(one.id);
  for (const one of options.allowCredentials ?? []) one.id = bytes(one.id);
  return options;
}

function written(made) {
  const response = {};
  for (const name of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
    if (made.response[name]) response[name] = text(made.response[name]);
  }
  return JSON.stringify({
    id: made.id,
    rawId: text(made.rawId),
    type: made.type,
    response,
    authenticatorAttachment: made.authenticatorAttachment,
    clientExtensionResults: {},
  });
}

if (window.PublicKeyCredential) {
  for (const form of document.querySelectorAll("form[data-passkey]")) {
    form.hidden = false;
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const told = form.querySelector("[data-told]");
      told.textContent = "";
      const asked = await fetch(form.dataset.options, {
        method: "POST",
        body: new URLSearchParams(new FormData(form)),
      });
      if (!asked.ok) {
        told.textContent = await asked.text();
        return;
      }
      const publicKey = readable(await asked.json());
      try {
        const made = await navigator.credentials[form.dataset.passkey]({ publicKey });
        form.elements.credential.value = written(made);
        form.submit();
      } catch {
        told.textContent = form.dataset.failed;
      }
    });
  }
}
