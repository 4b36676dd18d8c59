// The main job, from enrolment to the answer that was read, on the screens people really use.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { PHONE, enrol, fillCheck, localMinutes, mustSay, openLink, openPage, shoot, signIn, textOf } from './house.mjs';
import { noComplaints } from './looks.mjs';

export const journeys = (world) => {
  test('a photo sent from a phone is ranked, answered, called about and read', async () => {
    const { browser, demo } = world;
    const office = await signIn(browser, demo, 'office');
    const link = await enrol(office, demo, { name: 'Ida Marsh' });
    assert.ok(link.url.startsWith(demo.home), link.url);

    const phone = await openLink(browser, link);
    await mustSay(phone, /Day 4/);
    await phone.goto(`${demo.home}/my/check`);
    await fillCheck(phone, {
      photo: 'b-day04.jpg',
      temperature: '101.5',
      answers: [['better', 'worse'], ['edge', 'to_2_inches']],
      words: 'It looks redder than yesterday.',
    });
    await Promise.all([phone.waitForURL('**/my/sent/**', { timeout: 60_000 }), phone.click('#send')]);
    const receipt = decodeURIComponent(new URL(phone.url()).pathname.split('/').pop());
    await mustSay(phone, receipt);
    await shoot(phone, 'journey-sent');

    const surgeon = await signIn(browser, demo, 'surgeon', { viewport: PHONE });
    await surgeon.goto(`${demo.home}/queue`);
    const row = surgeon.locator('.queue-row', { hasText: 'Ida Marsh' });
    await row.waitFor();
    // A fever of 101.5 °F is 38.6 °C, and the value that tripped the rule is on the row.
    assert.match(await row.innerText(), /38\.6 °C/);
    assert.equal(await row.locator('img').evaluate(async (image) => (await image.decode(), image.naturalWidth > 0)), true, 'the row shows the photo');
    await Promise.all([surgeon.waitForURL('**/checks/**'), row.locator('.row-open').click()]);
    await mustSay(surgeon, 'It looks redder than yesterday.');
    await mustSay(surgeon, receipt);
    assert.equal(
      await surgeon.locator('.photo-set.now img').first().evaluate(async (image) => (await image.decode(), image.naturalWidth > 200)),
      true,
      'the review shows the photo',
    );

    await surgeon.check('#decision-come_in');
    await surgeon.fill('#come_in', localMinutes(24 * 60));
    await surgeon.fill('#reply', 'I want to see the wound myself. Please come in tomorrow.');
    await surgeon.fill('#ask', 'Can somebody drive you?');
    await Promise.all([surgeon.waitForURL('**/queue**'), surgeon.click('#decide-form button.press')]);
    assert.equal(await surgeon.locator('.queue-row', { hasText: 'Ida Marsh' }).count(), 0, 'decided, it waits no longer');

    await office.goto(`${demo.home}/callbacks`);
    const call = office.locator('.row', { hasText: 'Ida Marsh' }).first();
    await Promise.all([office.waitForURL('**/callbacks/*'), call.locator('.row-open').click()]);
    await mustSay(office, 'Can somebody drive you?');
    assert.equal(await office.locator('a[href^="tel:"]').first().isVisible(), true);
    await office.check('#result-no_answer');
    await Promise.all([office.waitForLoadState('load'), office.click('form[action$="/attempts"] button.press')]);
    await office.goto(`${demo.home}/callbacks`);
    await Promise.all([
      office.waitForURL('**/callbacks/*'),
      office.locator('.row', { hasText: 'Ida Marsh' }).first().locator('.row-open').click(),
    ]);
    await mustSay(office, 'No answer');
    await office.check('#result-spoke');
    await office.selectOption('#outcome', 'visit_booked');
    await Promise.all([office.waitForLoadState('load'), office.click('form[action$="/attempts"] button.press')]);
    await office.goto(`${demo.home}/callbacks`);
    await mustSay(office, 'Visit booked');

    await phone.goto(`${demo.home}/my/answers`);
    assert.doesNotMatch(await textOf(phone), /come in tomorrow/, 'no answer without the PIN');
    await phone.fill('#pin', link.pin);
    await Promise.all([phone.waitForLoadState('load'), phone.click('#pin-box button.press')]);
    await mustSay(phone, 'Please come in tomorrow.');
    await shoot(phone, 'journey-answer');
    await Promise.all([phone.waitForLoadState('load'), phone.click('article.fresh form button.press')]);
    assert.equal(await phone.locator('article.fresh').count(), 0, 'marked as read');

    await phone.fill('#question', 'May I drive after that?');
    await Promise.all([phone.waitForLoadState('load'), phone.click('#ask form button.press')]);
    await surgeon.goto(`${demo.home}/queue`);
    await surgeon.locator('.queue-row', { hasText: 'Ida Marsh' }).waitFor();

    for (const page of [office, phone, surgeon]) {
      noComplaints(page, page.url());
      await page.context().close();
    }
  });

  test('the sheet prints as a PDF from the page that is shown once', async () => {
    const { browser, demo } = world;
    const office = await signIn(browser, demo, 'office');
    await enrol(office, demo, { name: 'Bo Lund' });
    const [answer] = await Promise.all([
      office.context().waitForEvent('response', (response) => response.url().endsWith('/links/sheet')),
      office.click('form.print-sheet button.press'),
    ]);
    assert.equal(answer.status(), 200);
    assert.match(answer.headers()['content-type'], /application\/pdf/);
    await office.context().close();
  });

  test('a typed code opens what the link opens', async () => {
    const { browser, demo } = world;
    const office = await signIn(browser, demo, 'office');
    const link = await enrol(office, demo, { name: 'Cal Reyes' });
    await office.context().close();
    const phone = await openLink(browser, link);
    await phone.context().close();
    const other = await openPage(browser, { viewport: PHONE });
    await other.goto(`${demo.home}/go`);
    await other.fill('#code', link.code.toLowerCase().replaceAll('-', ' '));
    await Promise.all([other.waitForURL('**/my'), other.click('button.press')]);
    await mustSay(other, /Day 4/);
    await other.context().close();
  });
};
