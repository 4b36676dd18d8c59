// The wound check step by step, in a browser without scripts: every step in Spanish, a branch, Back, a slip, a danger.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { PHONE, enrol, mustSay, openLink, openPage, shoot, signIn, textOf, tick } from './house.mjs';
import { bigLetters, bigTargets, noSideScroll, noViolations } from './looks.mjs';

const seen = (page, selector) => page.locator(selector).first().isVisible();

// Presses a button of the step and waits for the page it leads to.
async function press(page, selector) {
  await Promise.all([page.waitForNavigation({ waitUntil: 'load' }), page.click(selector)]);
}

async function newPatient(world, person) {
  const office = await signIn(world.browser, world.demo, 'office');
  const link = await enrol(office, world.demo, person);
  await office.context().close();
  return link;
}

async function waitingWords(world, name) {
  const surgeon = await signIn(world.browser, world.demo, 'surgeon');
  await surgeon.goto(`${world.demo.home}/queue?name=${encodeURIComponent(name)}`);
  const rows = await surgeon.locator('.queue-row').allInnerTexts();
  await surgeon.context().close();
  return rows;
}

// The accessibility engine needs scripts: the same page of the same phone, in a browser that has them.
async function lookAgain(world, phone, name) {
  const page = await openPage(world.browser, { viewport: PHONE });
  await page.context().addCookies(await phone.context().cookies());
  await page.goto(phone.url());
  await noViolations(page, name);
  await bigTargets(page, name);
  await bigLetters(page, name);
  await noSideScroll(page, name);
  await page.context().close();
}

export const stepByStep = (world) => {
  test('without scripts every step is walked in Spanish, with a branch, a slip and the way back', async () => {
    const { demo } = world;
    const link = await newPatient(world, { name: 'María del Carmen Hernández-Villanueva de la Cruz', language: 'es' });
    const phone = await openLink(world.browser, link, { javaScript: false, locale: 'es-MX' });
    await phone.goto(`${demo.home}/my/check`);
    await phone.waitForURL('**/my/check/steps*');
    await mustSay(phone, /Paso 1 de \d/);
    assert.equal(await seen(phone, '.help-emergency'), true);
    await shoot(phone, 'step-danger-es');
    await lookAgain(world, phone, 'the danger step');
    await tick(phone, 'danger', 'none');
    await press(phone, '#next');

    await mustSay(phone, 'Cómo se siente');
    assert.equal(await phone.locator('#q-feels_feverish').count(), 0, 'a branch waits for its answer');
    await tick(phone, 'better', 'same');
    await phone.fill('#a-temp', '61');
    await tick(phone, 'chills', 'no');
    await press(phone, '#next');
    // The slip is told on its step, and everything is still there.
    await mustSay(phone, 'Un cuerpo tiene 30 a 43 °C');
    assert.equal(await phone.inputValue('#a-temp'), '61');
    assert.equal(await phone.isChecked('#a-better-same'), true);
    await shoot(phone, 'step-slip-es');
    await lookAgain(world, phone, 'a step with a slip');
    await phone.fill('#a-temp', '');
    await tick(phone, 'temp', 'none');
    await press(phone, '#next');
    // No thermometer opens a question, which is asked before going on.
    await mustSay(phone, '¿Siente como si tuviera fiebre?');
    await tick(phone, 'feels_feverish', 'no');
    await tick(phone, 'fever_pill', 'no');
    await shoot(phone, 'step-branch-es');
    await press(phone, '#next');

    await mustSay(phone, 'La piel de alrededor');
    await tick(phone, 'edge', 'thin');
    await press(phone, '#back');
    await mustSay(phone, 'Cómo se siente');
    assert.equal(await phone.isChecked('#a-feels_feverish-no'), true, 'Back shows what was answered');
    await press(phone, '#next');
    assert.equal(await phone.isChecked('#a-edge-thin'), true, 'what was tapped before going back is kept');
    await tick(phone, 'edge_move', 'same');
    await tick(phone, 'warm_hard', 'none');
    await press(phone, '#next');
    // The browser's own way back works as well.
    await phone.goBack({ waitUntil: 'load' });
    await phone.goForward({ waitUntil: 'load' });
    await tick(phone, 'pain', '2');
    await tick(phone, 'pain_trend', 'better');
    await press(phone, '#next');
    await tick(phone, 'drain', 'clear');
    await press(phone, '#next');
    await tick(phone, 'drain_amount', 'less');
    await tick(phone, 'smell', 'no');
    await tick(phone, 'bleed', 'spots');
    await press(phone, '#next');
    await tick(phone, 'wash', '2');
    await tick(phone, 'gauze_changed', 'yes');
    // Another day, or another page: the check is gone on with from Today.
    await phone.goto(`${demo.home}/my`);
    await Promise.all([phone.waitForURL('**/my/check/steps'), phone.click('a.unread[href="/my/check/steps"]')]);
    await mustSay(phone, 'Empezó esta revisión');
    await tick(phone, 'wash', '2');
    await tick(phone, 'gauze_changed', 'yes');
    // Enter in a field goes on, and never changes the language.
    await press(phone, '#next');
    await phone.fill('#a-pulse', '72');
    await Promise.all([phone.waitForNavigation(), phone.press('#a-pulse', 'Enter')]);
    assert.equal(await phone.getAttribute('html', 'lang'), 'es');
    await mustSay(phone, '¿Mejor teléfono para las próximas 2 horas?');
    await shoot(phone, 'step-last-es');
    await lookAgain(world, phone, 'the last step');
    await phone.fill('#a-words', 'Se ve mejor.');
    await phone.fill('#a-phone', '202-555-0176');
    await tick(phone, 'voicemail', 'yes');
    await Promise.all([phone.waitForURL('**/my/sent/**'), phone.click('#send')]);
    await mustSay(phone, 'Tenemos su revisión.');
    const rows = await waitingWords(world, 'María del Carmen');
    assert.equal(rows.length, 1);
    // Back leads to the receipt again, and not into a new check.
    await phone.goBack({ waitUntil: 'load' });
    await mustSay(phone, 'Tenemos su revisión.');
    assert.equal((await waitingWords(world, 'María del Carmen')).length, 1);
    assert.deepEqual(phone.complaints, []);
    await phone.context().close();
  });

  test('without scripts a danger in the first step is told at once and sent with the step', async () => {
    const link = await newPatient(world, { name: 'Lupe Soto', language: 'es' });
    const phone = await openLink(world.browser, link, { javaScript: false });
    await phone.goto(`${world.demo.home}/my/check/steps`);
    assert.equal(await seen(phone, '.danger-now'), false);
    await tick(phone, 'danger', 'bleed');
    assert.equal(await seen(phone, '.danger-now'), true, 'before anything is sent');
    assert.match(await textOf(phone), /Apriete fuerte con un paño limpio/);
    await shoot(phone, 'step-danger-ticked-es');
    await Promise.all([phone.waitForURL('**/my/sent/**'), phone.click('#next')]);
    await mustSay(phone, 'Llame ya al 911');
    await mustSay(phone, /Me operaron hace 4 días\. Tengo una herida abierta \(muslo izquierdo\)\. Mi herida sangra/);
    await shoot(phone, 'sent-danger-es');
    await lookAgain(world, phone, 'sent, with a danger');
    assert.equal((await waitingWords(world, 'Lupe Soto')).length, 1);
    await phone.context().close();
  });

  test('with the keyboard alone a step is answered and left', async () => {
    const link = await newPatient(world, { name: 'Kay Board' });
    const phone = await openLink(world.browser, link, { javaScript: false });
    await phone.goto(`${world.demo.home}/my/check/steps?at=pain`);
    await phone.focus('#a-pain-0');
    await phone.keyboard.press('ArrowRight');
    await phone.keyboard.press('ArrowRight');
    assert.equal(await phone.isChecked('#a-pain-2'), true);
    for (let step = 0; step < 12 && (await phone.evaluate(() => document.activeElement.id)) !== 'next'; step++) {
      await phone.keyboard.press('Tab');
    }
    assert.equal(await phone.evaluate(() => document.activeElement.id), 'next');
    await Promise.all([phone.waitForNavigation(), phone.keyboard.press('Enter')]);
    await mustSay(phone, 'What comes out');
    await phone.context().close();
  });

  test('low sugar is told at once while it is typed, on both sides of both limits, with the line cut', async () => {
    const link = await newPatient(world, { name: 'Dee Sweet', diabetes: 't2' });
    const phone = await openLink(world.browser, link);
    await phone.goto(`${world.demo.home}/my/check`);
    await phone.context().setOffline(true);
    const shown = async () => {
      const boxes = { low: '.sugar-low.low', very: '.sugar-low.very', unclear: '.sugar-low.unclear' };
      for (const [name, selector] of Object.entries(boxes)) if (await phone.locator(selector).isVisible()) return name;
      return '';
    };
    for (const [sugar, unit, told] of [
      ['70', 'mg_dl', ''], ['69', 'mg_dl', 'low'], ['54', 'mg_dl', 'low'], ['53', 'mg_dl', 'very'],
      ['3.9', 'mmol_l', ''], ['3,8', 'mmol_l', 'low'], ['3.0', 'mmol_l', 'low'], ['2.9', 'mmol_l', 'very'],
      ['33', 'mg_dl', 'unclear'], ['34', 'mg_dl', 'very'], ['120', 'mg_dl', ''], ['', 'mg_dl', ''],
    ]) {
      await tick(phone, 'sugar_unit', unit);
      await phone.fill('#a-sugar', sugar);
      assert.equal(await shown(), told, `${sugar} ${unit}`);
    }
    await tick(phone, 'sugar', 'lo');
    assert.equal(await shown(), 'very');
    await shoot(phone, 'sugar-very-low');
    await phone.context().close();
  });
};
