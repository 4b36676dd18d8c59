// A push in a real browser: the worker that stands at the root shows the fixed sentence and where a tap leads. No push service
// is reached: the subscription is made up in the page, and the push itself is handed to the browser by its own tools.
import assert from 'node:assert/strict';
import { generateKeyPairSync } from 'node:crypto';
import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { after, before, test } from 'node:test';
import { enrol, mustSay, openLink, signIn } from './house.mjs';
import { noComplaints } from './looks.mjs';
import { startDemo } from './server.mjs';

// What a push service would give. The key is the receiver's of the worked example in RFC 8291, section 5.
const GIVEN = {
  endpoint: 'https://push.harbor.example/one',
  keys: {
    p256dh: 'BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4',
    auth: 'BTBZMqHH6r4Tts7J_aSIgg',
  },
};

async function withPush(page, demo) {
  await page.context().grantPermissions(['notifications'], { origin: demo.home });
  await page.context().addInitScript((given) => {
    PushManager.prototype.subscribe = async () => ({ toJSON: () => given });
  }, GIVEN);
}

// Hands one push to the worker of this page, as the browser does when its service brought one.
async function push(page, demo, said) {
  const tools = await page.context().newCDPSession(page);
  const registered = new Promise((done) => {
    tools.on('ServiceWorker.workerRegistrationUpdated', ({ registrations }) => {
      const found = registrations.find((one) => one.scopeURL.startsWith(demo.home) && !one.isDeleted);
      if (found) done(found.registrationId);
    });
  });
  await tools.send('ServiceWorker.enable');
  const one = { origin: demo.home, registrationId: await registered, data: JSON.stringify(said) };
  // A worker that only just stands may miss the first.
  for (let tries = 0; tries < 5; tries += 1) {
    await tools.send('ServiceWorker.deliverPushMessage', one);
    const all = await shown(page);
    if (all.length > 0) return all;
  }
  return [];
}

const shown = (page) => page.evaluate(async () => {
  const registration = await navigator.serviceWorker.ready;
  for (let tries = 0; tries < 20; tries += 1) {
    const all = await registration.getNotifications();
    if (all.length > 0) return all.map(({ title, body, lang, data }) => ({ title, body, lang, data }));
    await new Promise((done) => { setTimeout(done, 100); });
  }
  return [];
});

export const pushes = (world) => {
  let demo;

  before(async () => {
    const first = await startDemo();
    // Only the demo shows the codes of its people; served in earnest, their sessions go on.
    for (const role of ['office', 'surgeon']) await (await signIn(world.browser, first, role)).context().close();
    const { privateKey } = generateKeyPairSync('ec', { namedCurve: 'P-256' });
    const key = path.join(first.data, 'vapid.pem');
    writeFileSync(key, privateKey.export({ type: 'pkcs8', format: 'pem' }), { mode: 0o600 });
    // A name that never resolves (RFC 2606): what is sent is another test's.
    const hosts = ['--notify-hosts', 'push.harbor.example'];
    demo = await first.asServer(['--vapid-key-file', key, '--vapid-contact', 'mailto:run@harbor.example', ...hosts]);
  });
  after(async () => { await demo?.stop(); });

  test('a patient asks to be told in this browser, and a push says only that something waits', async () => {
    const { browser } = world;
    const office = await signIn(browser, demo, 'office');
    const link = await enrol(office, demo, { name: 'Paloma Push', language: 'es' });
    await office.context().close();
    const phone = await openLink(browser, link, { locale: 'es-US' });
    await withPush(phone, demo);
    await phone.goto(`${demo.home}/my`);
    await Promise.all([phone.waitForNavigation(), phone.click('[data-push-key] button')]);
    assert.equal(await phone.locator('[data-push-end]').count(), 1, 'this browser is told from now on');
    const all = await push(phone, demo, {
      title: 'Mensaje', body: `Hay un mensaje para usted: ${demo.home}/my`, lang: 'es', tag: 'one',
    });
    assert.deepEqual(all, [
      { title: 'Mensaje', body: 'Hay un mensaje para usted.', lang: 'es', data: { link: `${demo.home}/my` } },
    ]);
    noComplaints(phone, 'a phone that is told');
    await phone.context().close();
  });

  test('a colleague is told in this browser too, and what cannot be read still shows something', async () => {
    const { browser } = world;
    const surgeon = await signIn(browser, demo, 'surgeon');
    await withPush(surgeon, demo);
    await surgeon.goto(`${demo.home}/me`);
    await Promise.all([surgeon.waitForNavigation(), surgeon.click('[data-push-key] button')]);
    await mustSay(surgeon, 'browser');
    const [only] = await push(surgeon, demo, 'no object');
    assert.equal(only.title, '1');
    await surgeon.context().close();
  });
};
