// Keeps the trial's page true while it runs: reads it again until the trial has ended.

const EVERY_MS = 700;

async function look() {
  const trial = document.getElementById('trial');
  if (!trial?.hasAttribute('data-running')) return;
  try {
    const answer = await fetch(location.href, { headers: { 'x-unattended': '1' }, redirect: 'error' });
    if (answer.ok) {
      const fresh = new DOMParser().parseFromString(await answer.text(), 'text/html');
      const now = fresh.getElementById('trial');
      if (now && !now.hasAttribute('data-running')) {
        location.reload(); // the approval form comes with the findings
        return;
      }
      if (now) trial.replaceWith(document.adoptNode(now));
    }
  } catch {
    // The line is down: the next look tells.
  }
  setTimeout(look, EVERY_MS);
}

for (const link of document.querySelectorAll('.if-no-script')) link.hidden = true;
setTimeout(look, EVERY_MS);
