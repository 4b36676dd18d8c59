// What a check's page tells its patient, and that a surgeon decides nothing that came while they were reading.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { PHONE, enrol, fillCheck, mustSay, openLink, shoot, signIn, textOf } from './house.mjs';
import { noComplaints } from './looks.mjs';
import { lookAt } from './pages.mjs';

// As long as names get, in the language of the patient.
const LONG = 'María de los Ángeles Fernández-Echeverría y Montemayor de la Garza';

export const progress = (world) => {
  test('more that comes while a surgeon reads is shown first, and a call in vain is told', async (t) => {
    const { browser, demo } = world;
    const office = await signIn(browser, demo, 'office');
    const link = await enrol(office, demo, { name: LONG, language: 'es' });
    // Without scripts, as the plainest phone sends it.
    const phone = await openLink(browser, link, { javaScript: false });
    await phone.goto(`${demo.home}/my/check?page=one`);
    await fillCheck(phone, { answers: [['better', 'same']] });
    await Promise.all([phone.waitForURL('**/my/sent/**', { timeout: 60_000 }), phone.click('#send')]);
    const sent = phone.url();
    await mustSay(phone, 'Nadie la ha abierto todavía.');

    const surgeon = await signIn(browser, demo, 'surgeon', { viewport: PHONE });
    await surgeon.goto(`${demo.home}/queue?name=Echeverr`);
    await Promise.all([surgeon.waitForURL('**/checks/**'), surgeon.locator('.queue-row .row-open').first().click()]);
    await phone.goto(sent);
    await mustSay(phone, 'Una persona la abrió.');

    // A question comes while the surgeon writes.
    await phone.goto(`${demo.home}/my/answers`);
    await phone.fill('#question', '¿Puedo manejar?');
    await Promise.all([phone.waitForLoadState('load'), phone.click('#ask form button.press')]);
    await surgeon.check('#decision-call_by_office');
    await surgeon.fill('#ask', 'Ask about the red rim.');
    await Promise.all([surgeon.waitForLoadState('load'), surgeon.click('#decide-form button.press')]);
    await mustSay(surgeon, 'The patient sent more while you were reading');
    await mustSay(surgeon, '¿Puedo manejar?');
    assert.equal(await surgeon.inputValue('#ask'), 'Ask about the red rim.');
    assert.equal(await surgeon.isChecked('#decision-call_by_office'), true);
    await shoot(surgeon, 'progress-more-came');
    await surgeon.click('#summary a');
    assert.match(surgeon.url(), /#extent$/);
    // By keyboard alone.
    await surgeon.focus('#ask');
    await Promise.all([surgeon.waitForURL('**/queue**'), surgeon.keyboard.press('Control+Enter')]);

    await phone.goto(sent);
    await mustSay(phone, 'Una persona la leyó. Le vamos a llamar.');
    assert.doesNotMatch(await textOf(phone), /Intentamos llamar/);
    await office.goto(`${demo.home}/callbacks`);
    const call = office.locator('.row', { hasText: 'Echeverr' }).first();
    await Promise.all([office.waitForURL('**/callbacks/*'), call.locator('.row-open').click()]);
    await office.check('#result-no_answer');
    await Promise.all([office.waitForLoadState('load'), office.click('form[action$="/attempts"] button.press')]);

    await phone.goto(sent);
    await mustSay(phone, /Le vamos a llamar otra vez\. También puede llamarnos\. Intentamos llamar: [^.]+ [ap]\. m\. Ver/);
    const reader = await openLink(browser, link, { viewport: PHONE });
    await lookAt(t, reader, 'sent-called-es', sent, { patient: true });
    await lookAt(t, reader, 'today-called-es', `${demo.home}/my`, { patient: true });
    await mustSay(reader, /Intentamos llamar: [^.]+ [ap]\. m\. Llámenos, por favor\./);
    // The browser itself notes an answer of 422.
    surgeon.complaints = surgeon.complaints.filter((words) => !words.includes('status of 422'));
    for (const page of [office, phone, surgeon, reader]) {
      noComplaints(page, page.url());
      await page.context().close();
    }
  });
};
