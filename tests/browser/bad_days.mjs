// What must hold on a bad day: no scripts, no line, a page that is left, another language.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { enrol, fillCheck, mustSay, openLink, shoot, signIn, takeSecondStep, textOf, tick } from './house.mjs';
import { openLine } from './line.mjs';

// How many checks of one patient wait, as a surgeon sees it.
async function waitingOf(world, patient) {
  const surgeon = await signIn(world.browser, world.demo, 'surgeon');
  await surgeon.goto(`${world.demo.home}/queue?name=${encodeURIComponent(patient)}`);
  const rows = await surgeon.locator('.queue-row').count();
  const words = rows > 0 ? await surgeon.locator('.queue-row').first().innerText() : '';
  await surgeon.context().close();
  return { rows, words };
}

async function newPatient(world, name) {
  const office = await signIn(world.browser, world.demo, 'office');
  const link = await enrol(office, world.demo, { name });
  await office.context().close();
  return link;
}

const seen = (page, selector) => page.locator(selector).first().isVisible();

export const badDays = (world) => {
  test('without scripts a check with a photo is sent by the plain form', async () => {
    const link = await newPatient(world, 'Una Plain');
    const phone = await openLink(world.browser, link, { javaScript: false });
    await phone.goto(`${world.demo.home}/my/check?page=one`);
    await fillCheck(phone, { photo: 'a-day06.jpg', temperature: '37.1', answers: [['better', 'same']] });
    await Promise.all([phone.waitForURL('**/my/sent/**', { timeout: 60_000 }), phone.click('#send')]);
    await phone.goto(`${world.demo.home}/my/answers`);
    await phone.fill('#pin', link.pin);
    await Promise.all([phone.waitForLoadState('load'), phone.click('#pin-box button.press')]);
    assert.equal(await seen(phone, '#pin-box'), false, 'the PIN opens the answers without scripts');
    await phone.context().close();
    const { rows, words } = await waitingOf(world, 'Una Plain');
    assert.equal(rows, 1);
    assert.doesNotMatch(words, /no photo/i);
  });

  test('without scripts the emergency advice shows as soon as a danger is ticked', async () => {
    const phone = await openLink(world.browser, world.demo.links[0], { javaScript: false });
    await phone.goto(`${world.demo.home}/my/check?page=one`);
    assert.equal(await seen(phone, '.danger-now'), false);
    await tick(phone, 'danger', 'bleed');
    assert.equal(await seen(phone, '.danger-now'), true);
    assert.equal(await phone.locator('.danger-now a[href^="tel:"]').isVisible(), true);
    await phone.context().close();
  });

  test('the emergency advice shows with the line cut, and the danger is told once it is back', async () => {
    const link = await newPatient(world, 'Vic Bell');
    const phone = await openLink(world.browser, link);
    await phone.goto(`${world.demo.home}/my/check`);
    await phone.context().setOffline(true);
    await tick(phone, 'danger', 'breath');
    assert.equal(await seen(phone, '.danger-now'), true);
    const call = phone.locator('.danger-now a[href^="tel:"]');
    assert.equal(await call.isVisible(), true);
    assert.match(await call.getAttribute('href'), /911/);
    await shoot(phone, 'danger-no-line');
    await phone.waitForFunction(() => {
      const told = document.getElementById('told');
      return told.textContent === told.dataset.notTold;
    });
    assert.equal((await waitingOf(world, 'Vic Bell')).rows, 0);
    await phone.context().setOffline(false);
    await phone.waitForFunction(() => {
      const told = document.getElementById('told');
      return told.textContent === told.dataset.told;
    }, null, { timeout: 90_000 });
    const { rows, words } = await waitingOf(world, 'Vic Bell');
    assert.equal(rows, 1);
    assert.match(words, /Go now/);
    await phone.context().close();
  });

  test('with the line cut the page says NOT SENT YET, and a retry makes one check', async () => {
    const link = await newPatient(world, 'Wes Cole');
    const phone = await openLink(world.browser, link);
    await phone.goto(`${world.demo.home}/my/check`);
    await fillCheck(phone, { photo: 'c-day04.jpg', temperature: '37.4', answers: [['better', 'same']] });
    await phone.context().setOffline(true);
    await phone.click('#send');
    await phone.locator('#sending.stuck').waitFor();
    await mustSay(phone, /NOT SENT YET/i);
    await shoot(phone, 'not-sent-yet');
    await phone.locator('.sending-buttons button').first().click();
    await mustSay(phone, /NOT SENT YET/i);
    assert.equal((await waitingOf(world, 'Wes Cole')).rows, 0);
    assert.doesNotMatch(new URL(phone.url()).pathname, /sent/);
    await phone.context().setOffline(false);
    await phone.waitForURL('**/my/sent/**', { timeout: 90_000 });
    assert.equal((await waitingOf(world, 'Wes Cole')).rows, 1);
    await phone.context().close();
  });

  test('a line that breaks during the photo keeps the answers and sends the photo later, once', async () => {
    const link = await newPatient(world, 'Xan Ford');
    const phone = await openLink(world.browser, link);
    let photoTries = 0;
    await phone.route('**/my/check/photo', (route) => (++photoTries <= 2 ? route.abort('connectionreset') : route.continue()));
    await phone.goto(`${world.demo.home}/my/check`);
    await fillCheck(phone, { photo: 'd-day07.jpg', temperature: '37.0' });
    await phone.click('#send');
    await phone.locator('#sending.stuck').waitFor();
    await mustSay(phone, /NOT SENT YET|answers/i);
    assert.equal((await waitingOf(world, 'Xan Ford')).rows, 1, 'the answers are in before the photo');
    await phone.waitForURL('**/my/sent/**', { timeout: 90_000 });
    assert.equal(photoTries, 3);
    const { rows, words } = await waitingOf(world, 'Xan Ford');
    assert.equal(rows, 1);
    assert.doesNotMatch(words, /no photo|photo missing/i);
    await phone.context().close();
  });

  test('a photo that is told to come again waits as long as asked, and is sent once', async () => {
    const link = await newPatient(world, 'Yan Burr');
    const phone = await openLink(world.browser, link);
    const at = [];
    await phone.route('**/my/check/photo', (route) => {
      at.push(Date.now());
      if (at.length > 1) return route.continue();
      return route.fulfill({ status: 503, headers: { 'retry-after': '4', 'content-type': 'application/json' }, body: '{"ok":false,"words":["busy"]}' });
    });
    await phone.goto(`${world.demo.home}/my/check`);
    await fillCheck(phone, { photo: 'd-day07.jpg', temperature: '37.0' });
    await Promise.all([phone.waitForURL('**/my/sent/**', { timeout: 60_000 }), phone.click('#send')]);
    assert.equal(at.length, 2, 'sent again, once');
    assert.ok(at[1] - at[0] >= 4_000, `it came again after ${at[1] - at[0]} ms`);
    const { rows, words } = await waitingOf(world, 'Yan Burr');
    assert.equal(rows, 1);
    assert.doesNotMatch(words, /no photo/i);
    await phone.context().close();
  });

  test('an answer that got lost on the way back is asked for again and gives the same receipt', async () => {
    const link = await newPatient(world, 'Yan Holt');
    const phone = await openLink(world.browser, link);
    const receipts = [];
    await phone.route('**/my/check/answers', async (route) => {
      const answer = await route.fetch();
      receipts.push((await answer.json()).receipt);
      // The server has it, and the phone never hears so: twice.
      if (receipts.length <= 2) await route.abort('connectionreset');
      else await route.fulfill({ response: answer });
    });
    await phone.goto(`${world.demo.home}/my/check`);
    await fillCheck(phone, { temperature: '37.0' });
    await phone.click('#send');
    await phone.waitForURL('**/my/sent/**', { timeout: 90_000 });
    assert.equal(receipts.length, 3);
    assert.equal(new Set(receipts).size, 1, receipts.join(' '));
    assert.equal((await waitingOf(world, 'Yan Holt')).rows, 1);
    await phone.context().close();
  });

  test('a half-filled page asks before it is left, but never holds up a call for help', async () => {
    const phone = await openLink(world.browser, world.demo.links[0]);
    await phone.goto(`${world.demo.home}/my/check`);
    await fillCheck(phone, { words: 'half' });
    await mustSay(phone, /NOT SENT YET/i);
    let asked = 0;
    phone.on('dialog', async (dialog) => {
      asked += dialog.type() === 'beforeunload' ? 1 : 0;
      await dialog.accept();
    });
    await phone.goto(`${world.demo.home}/my`);
    assert.equal(asked, 1);
    await phone.context().close();
  });

  test('Spanish goes all the way: page, danger, receipt, and the choice is remembered', async () => {
    const phone = await openLink(world.browser, world.demo.links[1]);
    assert.equal(await phone.getAttribute('html', 'lang'), 'es');
    await phone.goto(`${world.demo.home}/my/check`);
    assert.equal(await phone.getAttribute('html', 'lang'), 'es');
    await tick(phone, 'danger', 'breath');
    await mustSay(phone, /911/);
    // The practice's own name stays what it is.
    const text = (await textOf(phone)).replace((await phone.innerText('header bdi')).trim(), '');
    assert.doesNotMatch(text, /\b(the|your|and|send|photo|wound|emergency)\b/i, 'English words on the Spanish page');
    await phone.goto('about:blank');
    await phone.goto(`${world.demo.home}/my`);
    await Promise.all([phone.waitForLoadState('load'), phone.click('header form.language button')]);
    assert.equal(await phone.getAttribute('html', 'lang'), 'en');
    await phone.goto(`${world.demo.home}/my/answers`);
    assert.equal(await phone.getAttribute('html', 'lang'), 'en');
    await Promise.all([phone.waitForLoadState('load'), phone.click('header form.language button')]);
    assert.equal(await phone.getAttribute('html', 'lang'), 'es');
    await phone.context().close();
  });

  test('changing the language in the middle of a check keeps what was answered', async () => {
    const phone = await openLink(world.browser, world.demo.links[0]);
    await phone.goto(`${world.demo.home}/my/check`);
    await fillCheck(phone, { temperature: '38.2', answers: [['better', 'worse']], words: 'Kept, please.' });
    await Promise.all([phone.waitForLoadState('load'), phone.click('.language button[name=language]')]);
    await phone.waitForSelector('html[lang=es]');
    assert.equal(await phone.inputValue('#a-temp'), '38.2');
    assert.equal(await phone.isChecked('#a-better-worse'), true);
    assert.equal(await phone.inputValue('#a-words'), 'Kept, please.');
    await phone.click('.language button[name=language]');
    await phone.waitForSelector('html[lang=en]');
    await phone.context().close();
  });

  test('a photo of one practice cannot be shown by another site', async () => {
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    await surgeon.goto(`${world.demo.home}/queue`);
    const address = await surgeon.locator('.queue-row img').first().evaluate((image) => image.src);
    // Another origin: the same server under its other name.
    const elsewhere = address.replace('localhost', '127.0.0.1');
    const other = new URL(elsewhere).origin;
    await surgeon.route(`${other}/a-page-of-another-site`, (route) => route.fulfill({ contentType: 'text/html', body: `<img src="${address}">` }));
    await surgeon.goto(`${other}/a-page-of-another-site`);
    const width = await surgeon.locator('img').evaluate(async (image) => {
      await image.decode().catch(() => {});
      return image.naturalWidth;
    });
    assert.equal(width, 0);
    await surgeon.context().close();
  });
};

export const deskHabits = (world) => {
  test('a surgeon goes from the queue to a sent decision with the keyboard alone', async () => {
    const link = await newPatient(world, 'Zoe Quill');
    const phone = await openLink(world.browser, link);
    await phone.goto(`${world.demo.home}/my/check`);
    await fillCheck(phone, { temperature: '37.0', answers: [['better', 'better']] });
    await Promise.all([phone.waitForURL('**/my/sent/**'), phone.click('#send')]);
    await phone.context().close();

    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    await surgeon.goto(`${world.demo.home}/queue`);
    const keys = surgeon.keyboard;
    await keys.press('/');
    await keys.type('zoe');
    await Promise.all([surgeon.waitForURL('**/queue?**'), keys.press('Enter')]);
    await surgeon.waitForSelector('.queue-row');
    await keys.press('j');
    assert.match(await surgeon.evaluate(() => document.activeElement.textContent), /Zoe Quill/);
    await Promise.all([surgeon.waitForURL('**/checks/**'), keys.press('Enter')]);
    await keys.press('1');
    assert.equal(await surgeon.isChecked('#decision-healing_as_expected'), true);
    assert.notEqual(await surgeon.inputValue('#reply'), '', 'the practice’s text is filled in');
    // Blanks are found by key and filled by typing over them.
    for (let left = 10; left > 0; left--) {
      const text = await surgeon.inputValue('#reply');
      const blanks = text.match(/\{[a-z_]+\}/g) ?? [];
      if (blanks.length === 0) break;
      await surgeon.evaluate(() => document.activeElement.blur());
      await keys.press('b');
      await keys.type('5');
    }
    await Promise.all([surgeon.waitForURL('**/queue**'), keys.press('Control+Enter')]);
    await surgeon.goto(`${world.demo.home}/queue?name=zoe`);
    assert.equal(await surgeon.locator('.queue-row').count(), 0);
    await surgeon.context().close();
  });

  test('everything on the queue and the review can be reached with Tab, and shows that it is', async () => {
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    await surgeon.goto(`${world.demo.home}/queue`);
    await surgeon.waitForSelector('.queue-row');
    const wanted = await surgeon.locator('main a[href]:visible, main button:visible, main select:visible, main input:visible').count();
    const reached = new Set();
    const unseen = [];
    for (let step = 0; step < wanted + 40; step++) {
      await surgeon.keyboard.press('Tab');
      const at = await surgeon.evaluate(() => {
        const element = document.activeElement;
        if (!element.closest('main')) return null;
        const style = getComputedStyle(element);
        const around = element.closest('.row, label');
        const ring = (look) => look && (look.outlineStyle !== 'none' || look.boxShadow !== 'none');
        const shows = ring(style) || (around && ring(getComputedStyle(around)));
        const all = [...document.querySelectorAll('main *')];
        return { place: all.indexOf(element), shows, html: element.outerHTML.slice(0, 100) };
      });
      if (!at) continue;
      reached.add(at.place);
      if (!at.shows) unseen.push(at.html);
    }
    assert.ok(reached.size >= wanted, `${reached.size} of ${wanted} reached`);
    assert.deepEqual(unseen, []);
    await surgeon.context().close();
  });

  test('a check that comes in appears on an open queue by itself', async () => {
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    await surgeon.goto(`${world.demo.home}/queue`);
    await surgeon.locator('#live.on').waitFor();
    const link = await newPatient(world, 'Ann Live');
    const phone = await openLink(world.browser, link);
    await phone.goto(`${world.demo.home}/my/check`);
    await fillCheck(phone, { danger: 'breath' });
    await surgeon.locator('.queue-row', { hasText: 'Ann Live' }).waitFor({ timeout: 10_000 });
    await phone.context().close();
    await surgeon.context().close();
  });

  test('a queue that hears nothing says NOT LIVE, and is live again when the line is back', async () => {
    const line = await openLine(world.demo.home);
    const surgeon = await signIn(world.browser, { ...world.demo, home: line.home }, 'surgeon');
    await surgeon.goto(`${line.home}/queue`);
    await surgeon.locator('#live.on').waitFor();
    line.cut();
    await surgeon.locator('#not-live:not([hidden])').waitFor({ timeout: 45_000 });
    await mustSay(surgeon, /NOT LIVE since/);
    await shoot(surgeon, 'queue-not-live');
    line.mend();
    await surgeon.locator('#live.on').waitFor({ timeout: 60_000 });
    assert.equal(await seen(surgeon, '#not-live'), false);
    await surgeon.context().close();
    line.close();
  });

  test('what was typed is kept over a sign-in, and sent after it', async () => {
    const office = await signIn(world.browser, world.demo, 'office');
    await office.goto(`${world.demo.home}/patients/new`);
    await office.fill('#name', 'Gil Kept');
    await office.context().clearCookies();
    await Promise.all([office.waitForLoadState('load'), office.click('p.send button.press')]);
    await mustSay(office, /what you typed is kept/i);
    await office.fill('[name=sign_in_name]', world.demo.staff.office.name);
    await office.fill('[name=password]', world.demo.staff.office.password);
    await Promise.all([office.waitForLoadState('load'), office.press('[name=password]', 'Enter')]);
    await office.waitForSelector('#demo-code');
    await takeSecondStep(office);
    await Promise.all([office.waitForLoadState('load'), office.locator('main button, form button').first().click()]);
    await office.waitForSelector('#name');
    assert.equal(await office.inputValue('#name'), 'Gil Kept');
    await office.context().close();
  });

  test('after signing out the back button shows no patient', async () => {
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    await surgeon.goto(`${world.demo.home}/queue`);
    const name = (await surgeon.locator('.queue-row .row-open').first().innerText()).trim();
    await Promise.all([surgeon.waitForURL('**/sign-in'), surgeon.click('form.leave button')]);
    await surgeon.goBack({ waitUntil: 'load' }).catch(() => {});
    assert.doesNotMatch(await textOf(surgeon), new RegExp(name));
    await surgeon.context().close();
  });
};
