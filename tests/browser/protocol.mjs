// The practice's own protocol, in a lead's hands: a lower fever limit drafted, tried on the past and approved, and an
// old assessment that still explains itself. Last of all: it changes how the demo sorts.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { PHONE, enrol, fillCheck, mustSay, openLink, signIn, textOf } from './house.mjs';
import { noComplaints } from './looks.mjs';
import { lookAt } from './pages.mjs';

async function sends(phone, demo, temperature) {
  await phone.goto(`${demo.home}/my/check`);
  await fillCheck(phone, { temperature, answers: [['better', 'same'], ['chills', 'no']] });
  await Promise.all([phone.waitForURL('**/my/sent/**', { timeout: 60_000 }), phone.click('#send')]);
}

async function opensNewest(surgeon, demo, name) {
  await surgeon.goto(`${demo.home}/queue?name=${encodeURIComponent(name)}`);
  const row = surgeon.locator('.queue-row', { hasText: name }).first();
  await Promise.all([surgeon.waitForURL('**/checks/**'), row.locator('.row-open').click()]);
  return new URL(surgeon.url()).pathname;
}

export const ownProtocol = (world) => {
  test('a lead lowers the fever limit, sees what it would have changed, and approves it', async (t) => {
    const { browser, demo } = world;
    const office = await signIn(browser, demo, 'office');
    const phone = await openLink(browser, await enrol(office, demo, { name: 'Otto Reed' }));
    await sends(phone, demo, '99.7');
    const surgeon = await signIn(browser, demo, 'surgeon');
    const old = await opensNewest(surgeon, demo, 'Otto Reed');
    await lookAt(t, surgeon, 'explained', `${demo.home}${old}/why`, { patient: false });
    await mustSay(surgeon, 'protocol 2');
    assert.doesNotMatch(await textOf(surgeon), /Fever: /, '37.6 °C is no fever by protocol 2');
    // What nobody knows is worked out: with the pulse alone it could be an emergency.
    await mustSay(surgeon, /To Go now: [a-z ,-]*pulse/);
    await lookAt(t, surgeon, 'protocol-surgeon', `${demo.home}/practice/protocol`, { patient: false });
    assert.equal(await surgeon.locator('a[href="/practice/protocol/draft"]').count(), 0, 'a surgeon drafts nothing');

    const lead = await signIn(browser, demo, 'lead');
    await lookAt(t, lead, 'protocol', `${demo.home}/practice/protocol`, { patient: false });
    await mustSay(lead, /fired (once|\d+ times) this month/);
    await mustSay(lead, /surgeon agreed \d+ of \d+/);
    await Promise.all([lead.waitForURL('**/protocol/draft'), lead.click('a[href="/practice/protocol/draft"]')]);

    // Out of its safe range: nothing is kept, and what was typed stays.
    const limit = lead.locator('[id="limit.fever_c"]');
    await limit.focus();
    await lead.keyboard.press('ControlOrMeta+a');
    await lead.keyboard.type('35');
    await Promise.all([lead.waitForResponse((answer) => answer.status() === 422), lead.keyboard.press('Enter')]);
    await mustSay(lead, /type a number from 37\.2 to 38\.3 °C\. You typed “35”/);
    assert.equal(await limit.inputValue(), '35');
    lead.complaints.length = 0;
    await limit.focus();
    await lead.keyboard.press('ControlOrMeta+a');
    await lead.keyboard.type('37,5');
    await Promise.all([lead.waitForURL('**/protocol/trial'), lead.keyboard.press('Enter')]);
    await lookAt(t, lead, 'protocol-draft', `${demo.home}/practice/protocol/draft`, { patient: false });

    await lookAt(t, lead, 'protocol-trial-before', `${demo.home}/practice/protocol/trial`, { patient: false });
    await mustSay(lead, /limit fever_c, value 38\.0 °C \(100\.4 °F\) → 37\.5 °C \(99\.5 °F\)/);
    await lead.click('form[action="/practice/protocol/trial"] button');
    await lead.locator('text=checks tried').waitFor();
    const found = (await textOf(lead)).match(/(\d+) checks tried\. (\d+) would have been more urgent, (\d+) calmer/);
    assert.ok(Number(found[1]) > 100 && Number(found[2]) > 0, found[0]);
    assert.equal(found[3], '0');
    await lookAt(t, lead, 'protocol-trial', `${demo.home}/practice/protocol/trial`, { patient: false });
    // A surgeon opens the checks it would move, and can approve nothing.
    await surgeon.goto(`${demo.home}/practice/protocol`);
    await Promise.all([surgeon.waitForURL('**/protocol/trial'), surgeon.click('a[href="/practice/protocol/trial"]')]);
    assert.equal(await surgeon.locator('form[action^="/practice/protocol"]').count(), 0);
    await Promise.all([surgeon.waitForURL('**/checks/**'), surgeon.locator('#trial a[href^="/checks/"]').first().click()]);

    await Promise.all([
      lead.waitForResponse((answer) => answer.status() === 422),
      lead.click('form[action="/practice/protocol/approve"] button'),
    ]);
    await mustSay(lead, 'Write why this change is made');
    lead.complaints.length = 0;
    await lead.fill('#reason', 'Two fevers were seen late.');
    await Promise.all([
      lead.waitForURL('**/practice/protocol'),
      lead.click('form[action="/practice/protocol/approve"] button'),
    ]);
    await mustSay(lead, 'Protocol 2.1');
    await mustSay(lead, 'Two fevers were seen late.');
    await lead.goto(`${demo.home}/practice/record`);
    await mustSay(lead, /approved a protocol for/);
    await mustSay(lead, 'fever c: 38>37.5');

    // From now on 37.6 °C is a fever; the check that came before keeps its class, its reasons and its protocol.
    await sends(phone, demo, '99.7');
    const fresh = await opensNewest(surgeon, demo, 'Otto Reed');
    assert.notEqual(fresh, old);
    await surgeon.goto(`${demo.home}${fresh}/why`);
    await mustSay(surgeon, /Today .*Fever: 37\.5 °C \(99\.5 °F\) or more\. temperature 37\.6 °C \(≥ 37\.5 °C\)/);
    await mustSay(surgeon, 'protocol 2.1');
    await surgeon.goto(`${demo.home}${old}/why`);
    assert.doesNotMatch(await textOf(surgeon), /Fever: /);
    await Promise.all([
      surgeon.waitForURL('**/protocol/versions/2'),
      surgeon.click('a[href="/practice/protocol/versions/2"]'),
    ]);
    await mustSay(surgeon, 'This version is not in force any more');
    await mustSay(surgeon, 'Fever: 38.0 °C (100.4 °F) or more.');
    for (const page of [office, phone, surgeon, lead]) {
      noComplaints(page, 'the protocol');
      await page.context().close();
    }
  });

  test('the trial goes on and is read without a script', async () => {
    const { browser, demo } = world;
    const lead = await signIn(browser, demo, 'lead', { javaScript: false, viewport: PHONE });
    await lead.goto(`${demo.home}/practice/protocol/draft`);
    await lead.fill('[id="limit.pain_rest"]', '6');
    await Promise.all([lead.waitForURL('**/protocol/trial'), lead.click('p.send button.press')]);
    await Promise.all([
      lead.waitForLoadState('load'),
      lead.click('form[action="/practice/protocol/trial"] button'),
    ]);
    for (let look = 0; look < 40 && !/checks tried/.test(await textOf(lead)); look += 1) {
      await lead.waitForTimeout(250);
      await lead.goto(`${demo.home}/practice/protocol/trial`);
    }
    await mustSay(lead, 'checks tried');
    await Promise.all([
      lead.waitForURL('**/practice/protocol'),
      lead.click('form[action="/practice/protocol/draft/discard"] button'),
    ]);
    await mustSay(lead, 'Protocol 2.1');
    await lead.context().close();
  });
};
