// Shows what the practice pushes: a fixed sentence that says only that something waits. A tap opens the page it names, on
// this site and nowhere else. It keeps nothing and answers for no page.

const LINK = /https?:\/\/\S+/;

self.addEventListener('push', (event) => {
  let said = {};
  try {
    said = event.data.json();
  } catch {
    // Something must be shown, or the browser says something of its own.
  }
  const body = String(said.body ?? '');
  event.waitUntil(
    self.registration.showNotification(String(said.title ?? '1'), {
      body: body.replace(LINK, '').replace(/\s+/g, ' ').replace(/:\s*$/, '.').trim(),
      lang: said.lang,
      tag: said.tag,
      data: { link: body.match(LINK)?.[0] ?? '/' },
    }),
  );
});

self.addEventListener('notificationclick', (event) => {
  event.notification.close();
  const link = new URL(event.notification.data?.link ?? '/', self.location.origin);
  event.waitUntil(self.clients.openWindow(link.origin === self.location.origin ? link.href : '/'));
});
