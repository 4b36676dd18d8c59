// Taking the strip out on a phone: a timer that survives a reload and a closed page, and every part without scripts.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { PHONE, enrol, mustSay, openLink, openPage, shoot, signIn } from './house.mjs';
import { bigLetters, bigTargets, noSideScroll, noViolations } from './looks.mjs';

async function press(page, selector) {
  await Promise.all([page.waitForNavigation({ waitUntil: 'load' }), page.click(selector)]);
}

async function packedPatient(world, person) {
  const office = await signIn(world.browser, world.demo, 'office');
  const link = await enrol(office, world.demo, { hoursAgo: 47, strips: 2, ...person });
  await office.context().close();
  return link;
}

// Seconds the countdown shows.
async function left(page) {
  await page.waitForSelector('.timer output:not([hidden])');
  const [, minutes, seconds] = (await page.textContent('.timer output')).match(/(\d+):(\d\d)/);
  return Number(minutes) * 60 + Number(seconds);
}

async function looksRight(page, name) {
  await shoot(page, name);
  await noViolations(page, name);
  await bigTargets(page, name);
  await bigLetters(page, name);
  await noSideScroll(page, name);
}

export const packing = (world) => {
  test('the timer goes on over a reload, another page and a phone that was closed', async () => {
    const link = await packedPatient(world, { name: 'Paul Packed' });
    const phone = await openLink(world.browser, link);
    await press(phone, 'a[href="/my/strip"]');
    await looksRight(phone, 'strip-pill');
    await press(phone, 'button[value=took_pill]');
    const clock = await phone.textContent('.timer-clock strong');
    assert.match(clock, /Not before: /);
    const first = await left(phone);
    assert.ok(first > 28 * 60 && first <= 30 * 60, `${first} s`);
    await looksRight(phone, 'strip-wait');
    await phone.reload();
    assert.equal(await phone.textContent('.timer-clock strong'), clock);
    assert.ok((await left(phone)) <= first);
    await phone.goto(`${world.demo.home}/my`);
    await mustSay(phone, 'Go on. You began:');
    // Another phone with the same link stands at the same part with the same time.
    const other = await openLink(world.browser, link);
    await other.goto(`${world.demo.home}/my/strip`);
    assert.equal(await other.textContent('.timer-clock strong'), clock);
    assert.deepEqual([...phone.complaints, ...other.complaints], []);
    await phone.context().close();
    await other.context().close();
  });

  test('without scripts, in Spanish, every part is walked with the keyboard, and a count that differs goes to the practice', async () => {
    const name = 'María del Carmen Hernández-Villanueva de la Cruz y Montenegro';
    const link = await packedPatient(world, { name, language: 'es' });
    const phone = await openLink(world.browser, link, { javaScript: false, locale: 'es-MX' });
    const again = async (shot) => {
      const page = await openPage(world.browser, { viewport: PHONE });
      await page.context().addCookies(await phone.context().cookies());
      await page.goto(phone.url());
      await looksRight(page, shot);
      await page.context().close();
    };
    const enter = async (selector) => {
      await phone.focus(selector);
      await Promise.all([phone.waitForNavigation({ waitUntil: 'load' }), phone.keyboard.press('Enter')]);
    };
    await phone.goto(`${world.demo.home}/my/strip`);
    await mustSay(phone, 'Paso 1 de 6');
    assert.equal(await phone.locator('.help-emergency').isVisible(), true);
    await enter('button[value=took_pill]');
    await mustSay(phone, /No antes de: \d/);
    assert.equal(await phone.locator('.timer output').isVisible(), false, 'without scripts only the clock is said');
    await enter('button[value=soaking]');
    await mustSay(phone, /agua tibia/);
    await again('strip-soak-es');
    await enter('button[value=pulling]');
    await mustSay(phone, 'Un solo tirón lento y parejo.');
    await again('strip-pull-es');
    await enter('button[value=came_out]');
    await enter('button[value=pressing]');
    await mustSay(phone, 'Llame ya al 911');
    await again('strip-press-es');
    await enter('button[value=counting]');
    await mustSay(phone, 'Entraron 2 tiras.');
    assert.equal(await phone.inputValue('#pieces'), '');
    await enter('#all-out');
    await mustSay(phone, 'Escriba cuántas piezas salieron');
    // The browser counts the page with the slip (422) as a complaint.
    phone.complaints.length = 0;
    await again('strip-count-es');
    await phone.fill('#pieces', '1');
    await enter('#all-out');
    await mustSay(phone, 'El consultorio ya lo tiene.');
    await again('strip-unsure-es');
    await press(phone, 'a[href^="/my/check?page=one"]');
    await mustSay(phone, 'Su cuenta no fue lo que entró');
    assert.deepEqual(phone.complaints, []);
    await phone.context().close();
  });

  test('help, it is stuck: the phone number stands first, and the surgeon sees it', async () => {
    const link = await packedPatient(world, { name: 'Stella Stuck' });
    const phone = await openLink(world.browser, link);
    await phone.goto(`${world.demo.home}/my/strip`);
    await press(phone, 'button[value=stuck]');
    await mustSay(phone, 'You told us it is stuck');
    await looksRight(phone, 'strip-stuck');
    const surgeon = await signIn(world.browser, world.demo, 'surgeon');
    await surgeon.goto(`${world.demo.home}/queue?name=${encodeURIComponent('Stella Stuck')}`);
    assert.equal(await surgeon.locator('.queue-row').count(), 1);
    await surgeon.context().close();
    await phone.context().close();
  });
};
