// Every page at both widths: the accessibility engine, a narrow screen, targets, letters, weight, and a picture of it.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { DESK, PHONE, enrol, fillCheck, mustSay, openLink, openPage, shoot, signIn } from './house.mjs';
import { bigLetters, bigTargets, noComplaints, noSideScroll, noViolations, weight } from './looks.mjs';

const LIMIT_BYTES = 60_000;

// A question to the cover page: day and night, all reviews alike, so that the formula is shown as well.
const EACH = ['go_now', 'ring_now', 'today', 'tomorrow', 'on_track'].map((code) => `per_day_${code}=3&minutes_${code}=6`);
const DAYS = ['mon', 'tue', 'wed', 'thu', 'fri', 'sat', 'sun'].map((day) => `day=${day}`);
const COVER = ['source=typed&hours=flat&reviewers=1&opens=0:00&closes=24:00&spread=exponential&seed=1', ...EACH, ...DAYS].join('&');

async function look(page, name, { patient }) {
  for (const viewport of [PHONE, DESK]) {
    await page.setViewportSize(viewport);
    await page.evaluate(() => scrollTo(0, 0));
    const place = `${name} at ${viewport.width}`;
    await shoot(page, name);
    await noViolations(page, place);
    if (patient) {
      await bigTargets(page, place);
      await bigLetters(page, place);
    }
  }
  await page.setViewportSize(PHONE);
  await noSideScroll(page, name);
}

// One subtest for each page, so that a failure names its page and the others are still looked at.
export async function lookAt(t, page, name, address, options) {
  await t.test(name, async () => {
    page.complaints.length = 0;
    const bytes = await weight(page, address);
    assert.ok(bytes <= LIMIT_BYTES, `${name} weighs ${bytes} bytes`);
    await look(page, name, options);
    const expected = options.status ?? 200;
    const complaints = page.complaints.filter((words) => !(expected >= 400 && words.includes(`status of ${expected}`)));
    assert.deepEqual(complaints, [], `${name}: the console complains`);
  });
}

export const patientPages = (world) => {
  test('the patient pages before the link is opened', async (t) => {
    const { browser, demo } = world;
    const page = await openPage(browser, { viewport: PHONE });
    await lookAt(t, page, 'link', demo.links[0].url, { patient: true });
    await lookAt(t, page, 'link-unknown', `${demo.home}/k/nobody-has-this-link`, { patient: true, status: 404 });
    await lookAt(t, page, 'code', `${demo.home}/go`, { patient: true });
    await lookAt(t, page, 'no-link', `${demo.home}/my`, { patient: true, status: 401 });
    await page.context().close();
  });

  for (const [place, language] of [[0, 'en'], [1, 'es']]) {
    test(`the patient pages in the language of the patient: ${language}`, async (t) => {
      const { browser, demo } = world;
      const page = await openLink(browser, demo.links[place]);
      assert.equal(await page.getAttribute('html', 'lang'), language);
      const name = (page_name) => (language === 'en' ? page_name : `${page_name}-${language}`);
      await lookAt(t, page, name('today'), `${demo.home}/my`, { patient: true });
      await lookAt(t, page, name('check'), `${demo.home}/my/check`, { patient: true });
      await t.test(name('check-danger'), async () => {
        await fillCheck(page, { danger: 'breath' });
        await look(page, name('check-danger'), { patient: true });
      });
      for (const step of ['danger', 'feel', 'skin', 'pain', 'fluid', 'care', 'body', 'last']) {
        await lookAt(t, page, name(`step-${step}`), `${demo.home}/my/check/steps?at=${step}`, { patient: true });
      }
      await lookAt(t, page, name('calendar'), `${demo.home}/my/calendar`, { patient: true });
      await lookAt(t, page, name('answers-locked'), `${demo.home}/my/answers`, { patient: true });
      await page.fill('#pin', demo.links[place].pin);
      await Promise.all([page.waitForLoadState('load'), page.click('#pin-box button.press')]);
      await lookAt(t, page, name('answers'), `${demo.home}/my/answers`, { patient: true });
      await t.test(name('sent'), async () => {
        page.complaints.length = 0;
        await page.goto(`${demo.home}/my/check`);
        await fillCheck(page, { photo: 'a-day12.jpg', temperature: '37.0', answers: [['better', 'better']] });
        await Promise.all([page.waitForURL('**/my/sent/**', { timeout: 60_000 }), page.click('#send')]);
        await look(page, name('sent'), { patient: true });
        noComplaints(page, name('sent'));
      });
      await page.context().close();
    });
  }
};

// A patient who meets every question there is, but the finger.
export const checkPages = (world) => {
  for (const language of ['en', 'es']) {
    test(`the check of a patient who meets every question: ${language}`, async (t) => {
      const { browser, demo } = world;
      const office = await signIn(browser, demo, 'office');
      const person = { name: `Every Question ${language}`, language, site: 'perianal', diabetes: 't1', antibiotic: true };
      const link = await enrol(office, demo, person);
      await office.context().close();
      const page = await openLink(browser, link);
      const name = (page_name) => (language === 'en' ? page_name : `${page_name}-${language}`);
      await lookAt(t, page, name('check-all'), `${demo.home}/my/check`, { patient: true });
      for (const step of ['pills', 'sugar', 'site']) {
        await lookAt(t, page, name(`step-${step}`), `${demo.home}/my/check/steps?at=${step}`, { patient: true });
      }
      await page.context().close();
    });
  }
};

export const staffPages = (world) => {
  test('the sign-in page and a page that is not there', async (t) => {
    const { browser, demo } = world;
    const page = await openPage(browser);
    await lookAt(t, page, 'sign-in', `${demo.home}/sign-in`, { patient: false });
    await lookAt(t, page, 'sealed-code', `${demo.home}/envelope`, { patient: false });
    await lookAt(t, page, 'nothing-here', `${demo.home}/no-such-page`, { patient: false, status: 404 });
    await page.context().close();
  });

  test('the surgeon pages', async (t) => {
    const { browser, demo } = world;
    const page = await signIn(browser, demo, 'surgeon');
    await lookAt(t, page, 'queue', `${demo.home}/queue`, { patient: false });
    await page.goto(`${demo.home}/queue`);
    const first = page.locator('.queue-row').filter({ has: page.locator('img') }).first();
    await Promise.all([page.waitForURL('**/checks/**'), first.locator('.row-open').click()]);
    await lookAt(t, page, 'review', page.url(), { patient: false });
    await lookAt(t, page, 'hand-over', `${demo.home}/hand-over`, { patient: false });
    await lookAt(t, page, 'alarms', `${demo.home}/alarms`, { patient: false });
    await lookAt(t, page, 'calling-surgeon', `${demo.home}/practice/ladder`, { patient: false });
    await lookAt(t, page, 'me', `${demo.home}/me`, { patient: false });
    await t.test('me-faults', async () => {
      await page.goto(`${demo.home}/me`);
      await page.check('[name=channel][value=sms]');
      await page.fill('#address', '202-555-01x2');
      await Promise.all([page.waitForLoadState('load'), page.click('form[action="/me/addresses"] button.press')]);
      await mustSay(page, 'Enter a phone number of 7 to 15 digits');
      await look(page, 'me-faults', { patient: false });
    });
    await lookAt(t, page, 'figures-surgeon', `${demo.home}/practice/figures?period=all`, { patient: false });
    await page.context().close();
  });

  test('the office pages', async (t) => {
    const { browser, demo } = world;
    const page = await signIn(browser, demo, 'office');
    await lookAt(t, page, 'callbacks', `${demo.home}/callbacks`, { patient: false });
    await lookAt(t, page, 'duty-office', `${demo.home}/practice/duty`, { patient: false });
    await page.goto(`${demo.home}/callbacks`);
    const call = await page.locator('.row .row-open').first().getAttribute('href');
    await lookAt(t, page, 'callback', `${demo.home}${call}`, { patient: false });
    await lookAt(t, page, 'patients', `${demo.home}/patients`, { patient: false });
    await t.test('plan-faults', async () => {
      await page.goto(`${demo.home}/patients`);
      const found = await page.locator('.row .row-open').first().getAttribute('href');
      await page.goto(`${demo.home}${found}`);
      await Promise.all([page.waitForURL('**/plan'), page.click('a[href$="/plan"]')]);
      await look(page, 'plan', { patient: false });
      await Promise.all([page.waitForLoadState('load'), page.click('form[action$="/pause"] button.press')]);
      await mustSay(page, 'Enter the day on which the plan goes on');
      await look(page, 'plan-faults', { patient: false });
    });
    await page.goto(`${demo.home}/patients`);
    const patient = await page.locator('main a[href^="/patients/"]:not([href="/patients/new"])').first().getAttribute('href');
    await lookAt(t, page, 'patient', `${demo.home}${patient}`, { patient: false });
    await page.goto(`${demo.home}${patient}`);
    const handOff = await page.locator('a[href$="/hand-off"]').first().getAttribute('href');
    await lookAt(t, page, 'hand-off', `${demo.home}${handOff}`, { patient: false });
    await lookAt(t, page, 'enrol', `${demo.home}/patients/new`, { patient: false });
    await t.test('issued', async () => {
      page.complaints.length = 0;
      await enrol(page, demo, { name: 'Nell Frost' });
      await look(page, 'issued', { patient: false });
      noComplaints(page, 'issued');
    });
    await t.test('enrol-faults', async () => {
      await page.goto(`${demo.home}/patients/new`);
      await Promise.all([page.waitForLoadState('load'), page.click('p.send button.press')]);
      await mustSay(page, 'Nobody is enrolled yet');
      await look(page, 'enrol-faults', { patient: false });
    });
    await page.context().close();
  });

  test('the lead pages', async (t) => {
    const { browser, demo } = world;
    const page = await signIn(browser, demo, 'lead');
    await lookAt(t, page, 'practice', `${demo.home}/practice`, { patient: false });
    await t.test('practice-faults', async () => {
      await page.goto(`${demo.home}/practice`);
      await page.fill('#ruler_mm', '10');
      await Promise.all([page.waitForLoadState('load'), page.click('form[action="/practice/measuring"] button.press')]);
      await mustSay(page, 'That looks like centimetres');
      await look(page, 'practice-faults', { patient: false });
    });
    await lookAt(t, page, 'staff', `${demo.home}/practice/staff`, { patient: false });
    await lookAt(t, page, 'duty', `${demo.home}/practice/duty`, { patient: false });
    await lookAt(t, page, 'duty-change', `${demo.home}/practice/duty/change`, { patient: false });
    await t.test('duty-change-faults', async () => {
      await page.goto(`${demo.home}/practice/duty/change`);
      await page.check('[name=weekly_mon]');
      await Promise.all([page.waitForLoadState('load'), page.click('form[action="/practice/duty/weekly"] button.press')]);
      await mustSay(page, 'Enter a time such as 08:00');
      await look(page, 'duty-change-faults', { patient: false });
    });
    await lookAt(t, page, 'jobs', `${demo.home}/practice/jobs`, { patient: false });
    await lookAt(t, page, 'calling', `${demo.home}/practice/ladder`, { patient: false });
    await t.test('calling-faults', async () => {
      await page.goto(`${demo.home}/practice/ladder`);
      await page.fill('#go_now_1', '90');
      await Promise.all([page.waitForLoadState('load'), page.click('form[action="/practice/ladder"] button.press')]);
      await mustSay(page, 'Enter whole minutes from 2 to 5');
      await look(page, 'calling-faults', { patient: false });
    });
    await lookAt(t, page, 'replies', `${demo.home}/practice/replies`, { patient: false });
    await page.goto(`${demo.home}/practice/replies`);
    const reply = await page.locator('main a[href^="/practice/replies/"]').first().getAttribute('href');
    await lookAt(t, page, 'reply', `${demo.home}${reply}`, { patient: false });
    await lookAt(t, page, 'plan-text', `${demo.home}/practice/plan-text`, { patient: false });
    await lookAt(t, page, 'cover', `${demo.home}/practice/forecast`, { patient: false });
    await lookAt(t, page, 'cover-answered', `${demo.home}/practice/forecast?${COVER}`, { patient: false });
    await lookAt(t, page, 'cover-faults', `${demo.home}/practice/forecast?source=typed&day=mon`, { patient: false, status: 422 });
    await lookAt(t, page, 'drill', `${demo.home}/practice/drill`, { patient: false });
    await lookAt(t, page, 'keeping', `${demo.home}/practice/keeping`, { patient: false });
    await t.test('drill-faults', async () => {
      await page.goto(`${demo.home}/practice/drill`);
      await page.fill('#queue_oldest_hours', '0');
      await Promise.all([page.waitForLoadState('load'), page.click('form[action="/practice/drill"] button.press')]);
      await mustSay(page, 'Enter whole hours from 1 to 168');
      await look(page, 'drill-faults', { patient: false });
    });
    await lookAt(t, page, 'envelope', `${demo.home}/practice/envelope`, { patient: false });
    await t.test('envelope-sheet, and the pages it opens', async () => {
      await page.goto(`${demo.home}/practice/envelope`);
      await Promise.all([page.waitForLoadState('load'), page.click('form[action="/practice/envelope"] button')]);
      await look(page, 'envelope-sheet', { patient: false });
      const code = await page.locator('.letter .code').innerText();
      const other = await openPage(browser);
      await other.goto(`${demo.home}/envelope`);
      await other.fill('#code', code);
      await Promise.all([other.waitForLoadState('load'), other.click('button.press')]);
      await mustSay(other, 'The code was not looked at yet');
      await look(other, 'sealed-code-faults', { patient: false });
      await other.fill('#code', code);
      await other.fill('#name', 'Kim Vale');
      await other.fill('#reason', 'the surgeons are cut off');
      await Promise.all([other.waitForURL('**/look/queue'), other.click('button.press')]);
      await mustSay(other, 'Emergency look by Kim Vale');
      await look(other, 'look-queue', { patient: false });
      const first = other.locator('.queue-row').filter({ has: other.locator('img') }).first();
      await Promise.all([other.waitForURL('**/look/checks/**'), first.locator('.row-open').click()]);
      await look(other, 'look-check', { patient: false });
      assert.equal(await other.locator('form[method=post]').count(), 0, 'nothing can be pressed');
      await other.context().close();
    });
    await lookAt(t, page, 'envelope-opened', `${demo.home}/practice/envelope`, { patient: false });
    await lookAt(t, page, 'record', `${demo.home}/practice/record`, { patient: false });
    await lookAt(t, page, 'record-found', `${demo.home}/practice/record?kind=sign_ins&from=2026-01-01`, { patient: false });
    await lookAt(t, page, 'record-faults', `${demo.home}/practice/record?from=yesterday&patient=nobody`, { patient: false, status: 422 });
    await lookAt(t, page, 'export', `${demo.home}/practice/export`, { patient: false });
    await lookAt(t, page, 'figures', `${demo.home}/practice/figures`, { patient: false });
    await lookAt(t, page, 'figures-30-days', `${demo.home}/practice/figures?period=30`, { patient: false });
    await t.test('the demo has enough checks for a percentage over three months, and too few over one', async () => {
      const missed = page.locator('.shares > div', { hasText: 'missed share of the urgent' });
      await page.goto(`${demo.home}/practice/figures?period=90`);
      assert.match(await missed.innerText(), /\d\.\d\s%/);
      await page.goto(`${demo.home}/practice/figures?period=30`);
      assert.match(await missed.innerText(), /too few to say/);
    });
    await page.context().close();
  });
};
