// Whether somebody is there: the live line cut and mended, nothing missing afterwards, the sound, and a drill.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { DESK, PHONE, enrol, fillCheck, mustSay, openLink, shoot, signIn } from './house.mjs';
import { openLine } from './line.mjs';
import { noViolations } from './looks.mjs';

const BANNER_MS = 25_000; // 20 s of silence, looked for every 5 s

// Counts every tone the page begins, before any of its scripts run.
export async function countTones(page) {
  await page.addInitScript(() => {
    window.tones = 0;
    const create = BaseAudioContext.prototype.createOscillator;
    BaseAudioContext.prototype.createOscillator = function counted() {
      window.tones += 1;
      return create.call(this);
    };
  });
}

export const tones = (page) => page.evaluate(() => window.tones);

export async function newPatient(world, name) {
  const office = await signIn(world.browser, world.demo, 'office');
  const link = await enrol(office, world.demo, { name });
  await office.context().close();
  return link;
}

export async function sendsUrgent(world, link) {
  const phone = await openLink(world.browser, link);
  await phone.goto(`${world.demo.home}/my/check`);
  await fillCheck(phone, { danger: 'breath' });
  await phone.waitForFunction(() => {
    const told = document.getElementById('told');
    return told.textContent === told.dataset.told;
  });
  await phone.context().close();
}

const rowsOf = (page) => page.locator('.queue-row .row-open').evaluateAll((rows) => rows.map((row) => row.id).sort());

async function look(page, name) {
  for (const viewport of [PHONE, DESK]) {
    await page.setViewportSize(viewport);
    await page.evaluate(() => scrollTo(0, 0));
    await shoot(page, name);
    await noViolations(page, `${name} at ${viewport.width}`);
  }
}

export const somebodyIsThere = (world) => {
  test('the stream cut, the page says so within 25 seconds; mended, nothing is missing against the books', async () => {
    const links = [];
    for (const name of ['Cut One', 'Cut Two']) links.push(await newPatient(world, name));
    const line = await openLine(world.demo.home);
    const surgeon = await signIn(world.browser, { ...world.demo, home: line.home }, 'surgeon');
    await surgeon.goto(`${line.home}/queue`);
    await surgeon.locator('#live.on').waitFor();
    const cutAt = Date.now();
    line.cut();
    for (const link of links) await sendsUrgent(world, link);
    await surgeon.locator('#not-live:not([hidden])').waitFor({ timeout: BANNER_MS + 2_000 });
    assert.ok(Date.now() - cutAt <= BANNER_MS + 1_000, `the banner took ${Date.now() - cutAt} ms`);
    await mustSay(surgeon, /NOT LIVE since \d\d:\d\d/);
    line.mend();
    await surgeon.locator('#live.on').waitFor({ timeout: 60_000 });
    await surgeon.locator('.queue-row', { hasText: 'Cut Two' }).waitFor({ timeout: 15_000 });
    assert.equal(await surgeon.locator('#not-live').isVisible(), false);
    // What the books hold is what a page just opened shows.
    const fresh = await signIn(world.browser, world.demo, 'surgeon');
    await fresh.goto(`${world.demo.home}/queue`);
    assert.deepEqual(await rowsOf(surgeon), await rowsOf(fresh));
    await fresh.context().close();
    await surgeon.context().close();
    line.close();
  });

  test('the page nags until the sound is switched on, and rings for what is new and urgent', async () => {
    const link = await newPatient(world, 'Rita Ring');
    const later = await newPatient(world, 'Tom Toll');
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    await countTones(surgeon);
    await surgeon.goto(`${world.demo.home}/queue`);
    await surgeon.locator('#live.on').waitFor();
    await mustSay(surgeon, 'The sound is off today');
    await look(surgeon, 'queue-sound-off');
    await sendsUrgent(world, link);
    await surgeon.locator('.queue-row', { hasText: 'Rita Ring' }).waitFor({ timeout: 15_000 });
    assert.equal(await tones(surgeon), 0, 'nobody switched it on');
    // By keyboard.
    await surgeon.focus('#sound-arm');
    await surgeon.keyboard.press('Enter');
    await surgeon.locator('#sound-words', { hasText: 'Sound is on' }).waitFor();
    assert.equal(await surgeon.locator('#sound-arm').isVisible(), false);
    const armed = await tones(surgeon);
    assert.ok(armed >= 1, 'it is heard at once that it works');
    await look(surgeon, 'queue-sound-on');
    await sendsUrgent(world, later);
    await surgeon.locator('.queue-row', { hasText: 'Tom Toll' }).waitFor({ timeout: 15_000 });
    assert.ok((await tones(surgeon)) > armed, 'it rings');
    assert.match(await surgeon.innerText('#live-words'), /Something urgent is new/);
    // The same day on another page one press of anything is enough; the next day it nags again.
    await surgeon.goto(`${world.demo.home}/queue`);
    assert.doesNotMatch(await surgeon.innerText('#sound-words'), /off today/);
    await surgeon.evaluate(() => localStorage.setItem('sound-armed', 'yesterday'));
    await surgeon.goto(`${world.demo.home}/queue`);
    await mustSay(surgeon, 'The sound is off today');
    assert.deepEqual(surgeon.complaints, []);
    await surgeon.context().close();
  });

  test('an open page answers the beats of its line', async () => {
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    const answered = surgeon.waitForResponse((response) => response.url().endsWith('/here'), { timeout: 20_000 });
    await surgeon.goto(`${world.demo.home}/queue`);
    assert.equal((await answered).status(), 204);
    const attend = await (await fetch(`${world.demo.home}/attend`)).json();
    assert.ok(attend.on_duty_heartbeat_s === null || attend.on_duty_heartbeat_s < 60, JSON.stringify(attend));
    await surgeon.context().close();
  });

  test('a drill is begun by the lead, opened from the queue, and only then says what it was', async () => {
    // Nothing real may be urgent or past its due time, which on a slow machine some of the demo is by now: what is, is opened first.
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    for (;;) {
      await surgeon.goto(`${world.demo.home}/queue?state=queued`);
      const place = await surgeon.evaluate(() => [...document.querySelectorAll('.queue-row')].findIndex((row) => (
        row.matches('.edge-go_now, .edge-ring_now') || Number(row.querySelector('[data-due]').dataset.due) <= Date.now())));
      if (place === -1) break;
      const urgent = surgeon.locator('.queue-row').nth(place).locator('.row-open');
      await Promise.all([surgeon.waitForURL('**/checks/**'), urgent.click()]);
    }
    const lead = await signIn(world.browser, world.demo, 'lead');
    await lead.goto(`${world.demo.home}/practice/drill`);
    await Promise.all([lead.waitForLoadState('load'), lead.click('form[action="/practice/drill/start"] button')]);
    await mustSay(lead, 'A drill runs.');
    await surgeon.goto(`${world.demo.home}/queue`);
    await mustSay(surgeon, 'Something waits. Open it');
    assert.doesNotMatch((await surgeon.innerText('main')).toLowerCase(), /drill/);
    await look(surgeon, 'queue-drill');
    await Promise.all([surgeon.waitForURL('**/drills/**'), surgeon.click('.drill-row .row-open')]);
    await mustSay(surgeon, 'This was a drill. No patient waits.');
    await look(surgeon, 'drill-opened');
    await lead.goto(`${world.demo.home}/practice/drill`);
    await mustSay(lead, /1 drills, 1 answered|longest: /);
    await look(lead, 'drills-answered');
    await lead.context().close();
    await surgeon.context().close();
  });
};
