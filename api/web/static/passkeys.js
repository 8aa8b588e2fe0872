// Passkeys: adding one to an account, and signing in with one. The browser does the rest.
"use strict";

(() => {
  const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
  const text = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");

  // The options come as JSON, in which bytes are base64url, and the answer goes back so.
  const described = (list) => (list ?? []).map((one) => ({ ...one, id: bytes(one.id) }));
  const create = ({ publicKey }) => navigator.credentials.create({
    publicKey: {
      ...publicKey,
      challenge: bytes(publicKey.challenge),
      user: { ...publicKey.user, id: bytes(publicKey.user.id) },
      excludeCredentials: described(publicKey.excludeCredentials),
    },
  });
  const get = ({ publicKey }) => navigator.credentials.get({
    publicKey: {
      ...publicKey,
      challenge: bytes(publicKey.challenge),
      allowCredentials: described(publicKey.allowCredentials),
    },
  });
  const written = (credential) => {
    const response = {};
    for (const name of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
      if (credential.response[name]) response[name] = text(credential.response[name]);
    }
    if (credential.response.getTransports) response.transports = credential.response.getTransports();
    return JSON.stringify({
      id: credential.id,
      rawId: text(credential.rawId),
      type: credential.type,
      authenticatorAttachment: credential.authenticatorAttachment ?? undefined,
      clientExtensionResults: credential.getClientExtensionResults(),
      response,
    });
  };

  // run begins, asks the browser, and sends the form with its answer.
  const run = async (form, ask) => {
    const fault = form.querySelector("[role=alert]");
    const button = form.querySelector("button");
    fault.textContent = "";
    button.disabled = true;
    try {
      const begun = await fetch(form.dataset.begin, {
        method: "POST", body: new URLSearchParams(new FormData(form)), credentials: "same-origin",
      });
      const answer = await begun.json();
      if (!begun.ok) {
        fault.textContent = answer.detail;
        return;
      }
      form.elements.credential.value = written(await ask(answer.options));
      form.elements.ceremony.value = answer.ceremony;
      form.submit();
    } catch (error) {
      fault.textContent = error.name === "InvalidStateError"
        ? "This device already has a passkey for your account."
        : error.name === "NotAllowedError" ? "Nothing was done: the browser was told to stop, or waited too long." : `That did not work: ${error.message}`;
    } finally {
      button.disabled = false;
    }
  };

  const forms = { "add-passkey": create, "passkey-sign-in": get };
  for (const [id, ask] of Object.entries(forms)) {
    const form = document.getElementById(id);
    if (!form || !window.PublicKeyCredential) continue;
    form.hidden = false;
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      run(form, ask);
    });
  }
})();
