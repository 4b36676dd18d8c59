// The loop at a fast clock, with the folder channel: an emergency in the night climbs until somebody acts, a strip past its
// time becomes a call, a silent patient is found, and killing the server changes none of it.
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import path from 'node:path';
import { test } from 'node:test';
import { enrol, fillCheck, mustSay, openLink, shoot, signIn } from './house.mjs';
import { noComplaints, noSideScroll, noViolations } from './looks.mjs';
import { startDemo } from './server.mjs';

// Virtual minutes take so many seconds at `--speed 60`.
const MINUTE_MS = 1000;
const FAST_MINUTE_MS = 500;

// Every letter of the demo that was written, in order.
function letters(demo) {
  const folder = path.join(demo.data, 'letters');
  return readdirSync(folder).filter((name) => name.endsWith('.json')).sort().map((name) => JSON.parse(readFileSync(path.join(folder, name), 'utf8')));
}

// Waits until `found` gives something that is not empty.
async function until(found, limitMs, about) {
  const late = Date.now() + limitMs;
  for (;;) {
    const got = await found();
    if (got && (!Array.isArray(got) || got.length > 0)) return got;
    assert.ok(Date.now() < late, `${about} did not come within ${limitMs} ms`);
    await new Promise((done) => { setTimeout(done, 250); });
  }
}

export const loop = (world) => {
  test('an emergency in the night climbs until somebody sees to it, over a killed server', async () => {
    let demo = await startDemo(['--speed', '60', '--at', '22:30']);
    try {
      const office = await signIn(world.browser, demo, 'office');
      const link = await enrol(office, demo, { name: 'Nadia Nightingale', operated: demo.minutes(-3 * 24 * 60) });
      await office.context().close();
      const before = letters(demo).length;
      const phone = await openLink(world.browser, link);
      await phone.goto(`${demo.home}/my/check`);
      await fillCheck(phone, { danger: 'breath' });
      await Promise.all([phone.waitForURL('**/my/sent/**'), phone.click('#send')]);
      await phone.context().close();
      const fresh = () => letters(demo).slice(before);
      const first = await until(fresh, 30 * MINUTE_MS, 'the first page');
      for (const letter of first) assert.ok(!JSON.stringify(letter).includes('Nadia'), 'no name goes out');
      await until(() => fresh().length > first.length && fresh(), 15 * MINUTE_MS, 'the next rung');
      // Killed in the middle: it goes on where it was.
      demo = await demo.again();
      const known = letters(demo).length;
      await until(() => letters(demo).length > known && letters(demo), 30 * MINUTE_MS, 'a rung after the restart');
      const surgeon = await signIn(world.browser, demo, 'surgeon');
      const called = async () => {
        await surgeon.goto(`${demo.home}/alarms`);
        return surgeon.locator('.called-row', { hasText: 'Nadia' }).allInnerTexts();
      };
      assert.equal((await called()).length, 1, 'somebody is called for her');
      await surgeon.goto(`${demo.home}/queue?name=Nadia`);
      await Promise.all([surgeon.waitForURL('**/checks/**'), surgeon.locator('.queue-row .row-open').first().click()]);
      // Others of the practice may be called for; for her nobody is any more.
      await new Promise((done) => { setTimeout(done, 8 * MINUTE_MS); });
      assert.deepEqual(await called(), [], 'nobody is called any more about what a surgeon has opened');
      await surgeon.context().close();
    } finally {
      await demo.stop();
    }
  });

  test('a strip past its time is reminded of in Spanish and becomes a call; two calls, and the patient is found', async () => {
    const demo = await startDemo(['--speed', '120', '--at', '09:30']);
    try {
      let office = await signIn(world.browser, demo, 'office');
      const name = 'Esperanza Itzel Villavicencio-Montenegro de la Torre';
      await enrol(office, demo, { name, language: 'es', strips: 2, operated: demo.minutes(-(54 * 60 - 5)) });
      await office.context().close();
      const spanish = () => letters(demo).filter((letter) => JSON.stringify(letter).includes('No hemos sabido de usted'));
      await until(spanish, 150 * FAST_MINUTE_MS, 'the reminder in Spanish');
      for (const letter of spanish()) assert.ok(!/Esperanza|gasa|herida/.test(JSON.stringify(letter)));
      await until(async () => {
        const page = await signIn(world.browser, demo, 'office');
        await page.goto(`${demo.home}/silence`);
        const row = page.locator('.call-row', { hasText: 'Esperanza' });
        const isCall = (await row.count()) > 0 && (await row.first().innerText()).includes('Ring the patient');
        if (isCall) await shoot(page, 'silence-list');
        await page.context().close();
        return isCall;
      }, 300 * FAST_MINUTE_MS, 'the call');
      // A sitting of the office is short on this clock: each try is logged in one of its own.
      const tries = [['no_answer', 'patient'], ['no_answer', 'patient']];
      for (const [result, whom] of tries) {
        office = await signIn(world.browser, demo, 'office');
        await office.goto(`${demo.home}/silence`);
        await Promise.all([office.waitForURL('**/silence/*'), office.locator('.call-row', { hasText: 'Esperanza' }).locator('.row-open').first().click()]);
        await office.check(`[name=whom][value=${whom}]`);
        await office.check(`#result-${result}`);
        await Promise.all([office.waitForNavigation(), office.click('form[action$="/calls"] button')]);
        await mustSay(office, 'no answer');
        await office.context().close();
      }
      office = await signIn(world.browser, demo, 'office');
      await office.goto(`${demo.home}/silence`);
      await office.locator('.call-row', { hasText: 'Esperanza' }).locator('.row-open').first().click();
      await office.check('#result-spoke');
      await office.selectOption('#said', 'done');
      await office.fill('#note', 'All of it is out since this morning.');
      await Promise.all([office.waitForNavigation(), office.click('form[action$="/calls"] button')]);
      await mustSay(office, 'Told on the phone');
      noComplaints(office, 'the silent patient');
      await office.context().close();
    } finally {
      await demo.stop();
    }
  });

  test('the pages about the silent read well', async () => {
    const { browser, demo } = world;
    const office = await signIn(browser, demo, 'office');
    await office.goto(`${demo.home}/silence`);
    const rows = office.locator('.call-row .row-open');
    await until(async () => { await office.reload(); return (await rows.count()) > 0; }, 60_000, 'somebody silent');
    const one = await rows.first().getAttribute('href');
    for (const address of ['/silence', one, `${one}/letter`]) {
      for (const width of [390, 1280]) {
        await office.setViewportSize({ width, height: 900 });
        await office.goto(`${demo.home}${address}`);
        await noViolations(office, `${address} at ${width}`);
        if (width === 390) await noSideScroll(office, address);
        await shoot(office, `silence${address.replaceAll('/', '-').replace(/[0-9a-f-]{36}/, 'one')}`);
      }
    }
    await office.context().close();
  });
};
