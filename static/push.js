// "Tell me in this browser": asks the browser for a push subscription and posts it with the form it stands in. The form is
// shown only where the browser can do it.

const form = document.querySelector('[data-push-key]');
const ending = document.querySelector('[data-push-end]');
const able = 'serviceWorker' in navigator && 'PushManager' in window && 'Notification' in window;

function bytes(base64url) {
  const padded = base64url.replace(/-/g, '+').replace(/_/g, '/').padEnd(Math.ceil(base64url.length / 4) * 4, '=');
  return Uint8Array.from(atob(padded), (letter) => letter.charCodeAt(0));
}

async function subscribe(key) {
  await navigator.serviceWorker.register('/push-worker.js');
  const { pushManager } = await navigator.serviceWorker.ready;
  const old = await pushManager.getSubscription();
  // One made with another key of the server would never be reached.
  if (old) await old.unsubscribe();
  return pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(key) });
}

if (form && able) {
  form.hidden = false;
  const button = form.querySelector('button');
  const words = form.querySelector('.push-words');
  button.addEventListener('click', async () => {
    button.disabled = true;
    words.textContent = '';
    try {
      if ((await Notification.requestPermission()) !== 'granted') {
        words.textContent = words.dataset.denied;
        return;
      }
      form.elements.subscription.value = JSON.stringify(await subscribe(form.dataset.pushKey));
      form.submit();
    } catch {
      words.textContent = words.dataset.failed;
    } finally {
      button.disabled = false;
    }
  });
}

// The server forgets the browser in any case; here the browser forgets the server as well.
ending?.addEventListener('submit', async (event) => {
  if (!able || ending.dataset.done) return;
  event.preventDefault();
  ending.dataset.done = '1';
  try {
    const registration = await navigator.serviceWorker.getRegistration('/');
    await (await registration?.pushManager.getSubscription())?.unsubscribe();
  } finally {
    ending.submit();
  }
});
