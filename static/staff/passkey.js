// Asks the browser for a passkey: a new one, or a signature by one that is known. The form is sent as any other.

const toBytes = (text) =>
  Uint8Array.from(atob(text.replaceAll('-', '+').replaceAll('_', '/')), (letter) => letter.charCodeAt(0));

const toText = (bytes) =>
  btoa(String.fromCharCode(...new Uint8Array(bytes))).replaceAll('+', '-').replaceAll('/', '_').replaceAll('=', '');

const withBytes = (list) => (list ?? []).map((one) => ({ ...one, id: toBytes(one.id) }));

async function make({ publicKey }) {
  const made = await navigator.credentials.create({
    publicKey: {
      ...publicKey,
      challenge: toBytes(publicKey.challenge),
      user: { ...publicKey.user, id: toBytes(publicKey.user.id) },
      excludeCredentials: withBytes(publicKey.excludeCredentials),
    },
  });
  return {
    id: made.id,
    rawId: toText(made.rawId),
    type: made.type,
    extensions: made.getClientExtensionResults(),
    response: {
      attestationObject: toText(made.response.attestationObject),
      clientDataJSON: toText(made.response.clientDataJSON),
      transports: made.response.getTransports?.() ?? [],
    },
  };
}

async function sign({ publicKey }) {
  const signed = await navigator.credentials.get({
    publicKey: {
      ...publicKey,
      challenge: toBytes(publicKey.challenge),
      allowCredentials: withBytes(publicKey.allowCredentials),
    },
  });
  return {
    id: signed.id,
    rawId: toText(signed.rawId),
    type: signed.type,
    extensions: signed.getClientExtensionResults(),
    response: {
      authenticatorData: toText(signed.response.authenticatorData),
      clientDataJSON: toText(signed.response.clientDataJSON),
      signature: toText(signed.response.signature),
      userHandle: signed.response.userHandle ? toText(signed.response.userHandle) : null,
    },
  };
}

const ways = { make, sign };

for (const form of document.querySelectorAll('form[data-passkey]')) {
  // A browser that has no passkeys is offered the other ways only.
  if (!window.PublicKeyCredential) continue;
  form.hidden = false;
  const button = form.querySelector('button');
  const told = form.querySelector('[role=status]');
  button.addEventListener('click', async () => {
    button.disabled = true;
    told.textContent = '';
    try {
      const asked = await fetch(form.dataset.ask, { method: 'POST' });
      if (!asked.ok) throw new Error(`status ${asked.status}`);
      form.elements.credential.value = JSON.stringify(await ways[form.dataset.passkey](await asked.json()));
      form.submit();
    } catch {
      told.textContent = told.dataset.failed;
      button.disabled = false;
    }
  });
}
