// A page whose session is over: no patient is in it, it rings all the same, and it comes back as it was. And what is asked at the
// door of a patient link.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { countTones, newPatient, sendsUrgent, tones } from './attend.mjs';
import { DESK, PHONE, fillCheck, goesIn, mustSay, openPage, shoot, signIn, textOf } from './house.mjs';
import { noViolations } from './looks.mjs';

async function look(page, name) {
  for (const viewport of [PHONE, DESK]) {
    await page.setViewportSize(viewport);
    await shoot(page, name);
    await noViolations(page, `${name} at ${viewport.width}`);
  }
}

export const locking = (world) => {
  test('a page whose session is over shows no patient, rings for what is urgent, and comes back with what was typed', async () => {
    const [waits, comes] = [await newPatient(world, 'Lena Locked'), await newPatient(world, 'Nora New')];
    await sendsUrgent(world, waits);
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    await countTones(surgeon);
    await surgeon.goto(`${world.demo.home}/queue`);
    await mustSay(surgeon, 'Lena Locked');
    await surgeon.click('#sound-arm');
    await surgeon.fill('#search', 'typed here');
    const before = await tones(surgeon);
    // As a session that ran out: the browser is still known.
    await surgeon.context().clearCookies({ name: /closewatch-staff/ });
    await surgeon.evaluate(() => document.dispatchEvent(new Event('visibilitychange')));
    await surgeon.locator('.locked').waitFor();
    assert.doesNotMatch(await surgeon.content(), /Lena Locked/, 'no patient is in the page');
    await surgeon.locator('.locked [role=alert]', { hasText: /urgent things? wait/ }).waitFor({ timeout: 15_000 });
    assert.equal(await surgeon.evaluate(() => document.activeElement.textContent), 'Sign in', 'the keyboard is there');
    await look(surgeon, 'locked');
    const count = async () => Number((await surgeon.title()).match(/\((\d+)\)/)?.[1] ?? 0);
    const urgent = await count();
    await sendsUrgent(world, comes);
    await surgeon.waitForFunction((then) => Number(document.title.match(/\((\d+)\)/)?.[1] ?? 0) > then, urgent, { timeout: 10_000 });
    assert.ok((await tones(surgeon)) > before, 'it rings');
    assert.doesNotMatch(await surgeon.content(), /Nora New/);

    const tab = Object.assign(await surgeon.context().newPage(), { complaints: [] });
    await goesIn(tab, world.demo, 'surgeon');
    await tab.close();
    await surgeon.bringToFront();
    await surgeon.locator('.queue-row', { hasText: 'Nora New' }).waitFor({ timeout: 45_000 });
    assert.equal(await surgeon.locator('.locked').count(), 0);
    assert.equal(await surgeon.inputValue('#search'), 'typed here');
    await surgeon.context().close();
  });

  test('at the door of a link: other initials and somebody else’s phone are taken, and told to whoever reads', async () => {
    const link = await newPatient(world, 'Ida Initial');
    const phone = await openPage(world.browser, { viewport: PHONE });
    await phone.goto(link.url);
    await phone.fill('#initials', 'zz');
    await phone.check('#borrowed');
    await Promise.all([phone.waitForURL('**/my'), phone.click('form button.press')]);
    await phone.goto(`${world.demo.home}/my/answers`);
    await mustSay(phone, 'This is not your phone');
    await phone.goto(`${world.demo.home}/my/check`);
    await fillCheck(phone, { danger: 'breath' });
    await phone.waitForFunction(() => {
      const told = document.getElementById('told');
      return told.textContent === told.dataset.told;
    });
    await Promise.all([phone.waitForLoadState('load'), phone.click('form[action="/my/leave"] button')]);
    const kept = await phone.evaluate(async () => ({
      local: localStorage.length, session: sessionStorage.length,
      caches: (await caches.keys()).length, databases: (await indexedDB.databases()).length,
    }));
    assert.deepEqual(kept, { local: 0, session: 0, caches: 0, databases: 0 });
    await phone.context().close();
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    await surgeon.goto(`${world.demo.home}/queue?name=Ida`);
    await mustSay(surgeon, 'Other initials typed: ZZ');
    await mustSay(surgeon, 'Somebody else’s phone');
    await look(surgeon, 'queue-other-phone');
    await surgeon.context().close();
  });

  test('a link that was revoked says whom to call, and the office sees who knocked', async () => {
    const link = await newPatient(world, 'Rhea Revoked');
    const office = await signIn(world.browser, world.demo, 'office');
    await office.goto(`${world.demo.home}/patients?name=Rhea`);
    await Promise.all([office.waitForURL('**/patients/*'), office.locator('.row .row-open').first().click()]);
    await office.click('details.confirm:has(form[action$="/revoke"]) summary');
    await Promise.all([office.waitForLoadState('load'), office.click('form[action$="/revoke"] button')]);
    const phone = await openPage(world.browser, { viewport: PHONE });
    await phone.goto(link.url);
    const [answer] = await Promise.all([phone.waitForNavigation(), phone.click('form button.press')]);
    assert.equal(answer.status(), 410);
    await mustSay(phone, 'This link is closed');
    await look(phone, 'closed-link');
    await phone.context().close();
    await office.goto(`${world.demo.home}/callbacks`);
    await mustSay(office, 'Knocks on closed links');
    await look(office, 'late-knock');
    const row = office.locator('.call-row', { hasText: 'Rhea Revoked' });
    await row.locator('[name=note]').fill('Rang; she has the new link');
    await Promise.all([office.waitForURL('**/callbacks'), row.locator('form button').click()]);
    assert.doesNotMatch(await textOf(office), /Rhea Revoked/);
    await office.context().close();
  });
};
