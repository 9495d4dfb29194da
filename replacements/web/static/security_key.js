// Security keys and passkeys (WebAuthn level 3, 5.1.8 to 5.1.10). The forms that they are for stay hidden without this
// script, and where the browser has none of it: codes from an app stand beside them. The key's answer goes into the
// form, and the form is sent as any other.
"use strict";

const WAITING = "Touch your key, or do what the browser asks for.";
const NOTHING = "No key answered, or it is not one for this account. Try once more, or use a code from an app.";

function canAsk() {
  return window.PublicKeyCredential
    && PublicKeyCredential.parseCreationOptionsFromJSON && PublicKeyCredential.parseRequestOptionsFromJSON;
}

async function optionsFor(form) {
  const reply = await fetch(form.dataset.options, { method: "POST", body: new FormData(form) });
  return reply.json();
}

async function askTheKey(form, publicKey) {
  if (form.dataset.purpose === "set up") {
    return navigator.credentials.create({ publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(publicKey) });
  }
  return navigator.credentials.get({ publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(publicKey) });
}

async function send(form) {
  const said = form.querySelector("[role=status]");
  const button = form.querySelector("button");
  button.disabled = true;
  said.textContent = WAITING;
  try {
    const answer = await optionsFor(form);
    if (answer.trouble) {
      said.textContent = answer.trouble;
      return;
    }
    const key = await askTheKey(form, answer.publicKey);
    form.elements.answer.value = JSON.stringify(key.toJSON());
    form.submit();
  } catch {
    said.textContent = NOTHING;
  } finally {
    button.disabled = false;
  }
}

if (canAsk()) {
  for (const form of document.querySelectorAll("form[data-purpose]")) {
    form.closest("[data-for-keys]").hidden = false;
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      send(form);
    });
  }
}
