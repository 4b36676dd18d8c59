// Passkeys with an authenticator that the browser's own tools stand in for: made, used, refused for another address, and
// noticed when its count goes back.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { PHONE, mustSay, openPage, signIn, takeSecondStep } from './house.mjs';
import { lookAt } from './pages.mjs';

async function authenticator(page) {
  const tools = await page.context().newCDPSession(page);
  await tools.send('WebAuthn.enable');
  const { authenticatorId } = await tools.send('WebAuthn.addVirtualAuthenticator', {
    options: {
      protocol: 'ctap2',
      transport: 'internal',
      hasResidentKey: true,
      hasUserVerification: true,
      isUserVerified: true,
      automaticPresenceSimulation: true,
    },
  });
  return { tools, authenticatorId };
}

async function typePassword(page, demo, role) {
  await page.goto(`${demo.home}/sign-in`);
  await page.fill('[name=sign_in_name]', demo.staff[role].name);
  await page.fill('[name=password]', demo.staff[role].password);
  await Promise.all([page.waitForURL('**/prove'), page.press('[name=password]', 'Enter')]);
}

export const passkeys = (world) => {
  test('a passkey is made, signs in with one press, and a copy of it is noticed', async (t) => {
    const { browser, demo } = world;
    const page = await openPage(browser, { viewport: PHONE });
    await typePassword(page, demo, 'office');
    await lookAt(t, page, 'prove', `${demo.home}/prove`, { patient: false });
    await takeSecondStep(page);
    await lookAt(t, page, 'own-sign-in', `${demo.home}/me/sign-in`, { patient: false });
    await lookAt(t, page, 'second-step', `${demo.home}/second-step`, { patient: false });
    // Looking at a page opens another one and takes its tools along: the authenticator comes after it.
    const { tools, authenticatorId } = await authenticator(page);
    await page.goto(`${demo.home}/second-step`);
    await page.fill('#passkey-name', 'the desk’s key');
    await Promise.all([page.waitForURL('**/second-step/passkey'), page.click('form[data-passkey=make] button')]);
    // The first thing beside an app brings the paper as well.
    await mustSay(page, 'Recovery codes');
    assert.equal(await page.locator('ol.codes li').count(), 10);
    await page.goto(`${demo.home}/me/sign-in`);
    await mustSay(page, 'Passkey: the desk’s key');

    await page.context().clearCookies();
    await typePassword(page, demo, 'office');
    await Promise.all([page.waitForURL('**/callbacks'), page.click('form[data-passkey=sign] button')]);
    await page.goto(`${demo.home}/me/sign-in`);
    await mustSay(page, /Passkey: the desk’s key since .+ last used/);

    // The same key with its count set back, as a copy would have it.
    const { credentials } = await tools.send('WebAuthn.getCredentials', { authenticatorId });
    assert.equal(credentials.length, 1);
    assert.ok(credentials[0].signCount > 0, 'this authenticator counts');
    await tools.send('WebAuthn.removeCredential', { authenticatorId, credentialId: credentials[0].credentialId });
    await tools.send('WebAuthn.addCredential', { authenticatorId, credential: { ...credentials[0], signCount: 0 } });
    await page.context().clearCookies();
    await typePassword(page, demo, 'office');
    await Promise.all([page.waitForURL('**/prove/passkey'), page.click('form[data-passkey=sign] button')]);
    await mustSay(page, 'That passkey was not taken.');
    const lead = await signIn(browser, demo, 'lead');
    await lead.goto(`${demo.home}/practice/record`);
    await mustSay(lead, /used a passkey whose count went back/);
    await lead.context().close();
    await page.context().close();
  });

  test('an answer made for another address is refused', async () => {
    const { browser, demo } = world;
    const page = await openPage(browser);
    await authenticator(page);
    await typePassword(page, demo, 'lead');
    await takeSecondStep(page);
    await page.goto(`${demo.home}/second-step`);
    // Whatever the browser makes is sent as if it came from a page that only looks like this one.
    await page.evaluate(() => {
      const form = document.querySelector('form[data-passkey=make]');
      form.submit = () => {
        const made = JSON.parse(form.elements.credential.value);
        const said = JSON.parse(atob(made.response.clientDataJSON.replaceAll('-', '+').replaceAll('_', '/')));
        said.origin = 'https://wounds.elsewhere.example';
        made.response.clientDataJSON = btoa(JSON.stringify(said)).replaceAll('+', '-').replaceAll('/', '_').replaceAll('=', '');
        form.elements.credential.value = JSON.stringify(made);
        HTMLFormElement.prototype.submit.call(form);
      };
    });
    await Promise.all([page.waitForURL('**/second-step/passkey'), page.click('form[data-passkey=make] button')]);
    await mustSay(page, 'The passkey was not made.');
    await page.context().close();
  });
};
