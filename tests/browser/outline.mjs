// Drawing on a photo with mouse, finger and keys; two photos at one scale; what a patient is told of their photos.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { DESK, PHONE, enrol, fillCheck, mustSay, openLink, openPage, shoot, signIn, tick } from './house.mjs';
import { bigTargets, noComplaints, noSideScroll, noViolations } from './looks.mjs';
import { painted } from './server.mjs';

const truth = JSON.parse(readFileSync(new URL('../truth/outline.json', import.meta.url)));
const near = (told, true_, part, about) => assert.ok(Math.abs(told / true_ - 1) < part, `${about}: ${told}, not ${true_}`);

// Sends a photo of a fresh patient and waits until the program has measured it. Gives the review's address.
async function measuredCheck(world, name, photos, phoneOptions = {}) {
  const { browser, demo } = world;
  const office = await signIn(browser, demo, 'office');
  const link = await enrol(office, demo, { name });
  await office.context().close();
  const phone = await openLink(browser, link, phoneOptions);
  for (const photo of photos) {
    await phone.goto(`${demo.home}/my/check`);
    await fillCheck(phone, { photo, answers: [['better', 'better'], ['edge', 'thin']] });
    await tapWound(phone, photo);
    await Promise.all([phone.waitForURL('**/my/sent/**', { timeout: 60_000 }), phone.click('#send')]);
    await phone.waitForSelector('#photos-part:not([data-not-yet])', { timeout: 60_000 });
  }
  const surgeon = await signIn(browser, demo, 'surgeon');
  await surgeon.goto(`${demo.home}/queue?name=${encodeURIComponent(name)}`);
  const rows = surgeon.locator('.queue-row .row-open');
  // Of several checks the newest is looked at: it names the one before.
  await Promise.all([surgeon.waitForURL('**/checks/**'), rows.first().click()]);
  const newest = surgeon.locator('.history li').first().locator('a');
  if (await newest.count()) await Promise.all([surgeon.waitForLoadState('load'), newest.click()]);
  const address = surgeon.url();
  await surgeon.context().close();
  return { address, phone };
}

const taps = JSON.parse(readFileSync(new URL('../../seed-data/practice.json', import.meta.url))).taps;

async function tapWound(phone, photo) {
  const frame = phone.locator('.photo-card .frame').last();
  await frame.locator('img').evaluate((image) => image.decode());
  await frame.scrollIntoViewIfNeeded();
  const [x, y] = taps[photo];
  const place = await frame.evaluate((button, [px, py]) => {
    const image = button.querySelector('img');
    const box = button.getBoundingClientRect();
    const scale = Math.min(box.width / image.naturalWidth, box.height / image.naturalHeight);
    const [w, h] = [image.naturalWidth * scale, image.naturalHeight * scale];
    return [box.left + (box.width - w) / 2 + (px / 10000) * w, box.top + (box.height - h) / 2 + (py / 10000) * h];
  }, [x, y]);
  await phone.touchscreen.tap(...place);
}

async function openDesk(page, address) {
  await page.goto(address);
  await page.locator('.draw').first().click();
  await page.waitForSelector('.outline-desk[open] .desk-handles circle');
  await page.locator('.desk-picture image').evaluate((image) => new Promise((done) => {
    if (image.getBBox().width > 0) done();
    image.addEventListener('load', done);
  }));
}

const figure = async (page, label) => {
  const words = await page.locator('.desk-figures div', { hasText: label }).locator('dd').innerText();
  const [, number, unit] = words.match(/([\d.]+) (mm²|cm²|mm)/);
  return Number(number) * (unit === 'cm²' ? 100 : 1);
};
const handle = (page, at) => page.locator('.desk-handles circle').nth(at);
const handles = (page) => page.locator('.desk-handles circle').count();

async function middleOf(locator) {
  const box = await locator.boundingBox();
  return [box.x + box.width / 2, box.y + box.height / 2];
}

// The handle with the most room around it, so that a shove meets no other.
const roomiest = (page) => page.evaluate(() => {
  const all = [...document.querySelectorAll('.desk-handles circle')].map((circle) => circle.getBoundingClientRect());
  const rooms = all.map((one, at) => Math.min(...all.filter((_, other) => other !== at).map((other) => Math.hypot(one.x - other.x, one.y - other.y))));
  return rooms.indexOf(Math.max(...rooms));
});

// Where a finger may land beside the handle and mean no other: of twelve places at `px` the one farthest from every other handle.
const besideHandle = (page, at, px) => page.evaluate(([at, px]) => {
  const all = [...document.querySelectorAll('.desk-handles circle')].map((circle) => circle.getBoundingClientRect())
    .map((box) => [box.x + box.width / 2, box.y + box.height / 2]);
  const places = Array.from({ length: 12 }, (_, hour) => [Math.cos((hour * Math.PI) / 6), Math.sin((hour * Math.PI) / 6)])
    .map(([x, y]) => [all[at][0] + px * x, all[at][1] + px * y]);
  const rooms = places.map(([x, y]) => Math.min(...all.filter((_, other) => other !== at).map((other) => Math.hypot(other[0] - x, other[1] - y))));
  return places[rooms.indexOf(Math.max(...rooms))];
}, [at, px]);

async function touch(page, kind, points) {
  page.cdp ??= await page.context().newCDPSession(page);
  await page.cdp.send('Input.dispatchTouchEvent', { type: kind, touchPoints: points.map(([x, y], id) => ({ x, y, id })) });
}

export const drawing = (world) => {
  test('the script finds what the server finds on the same drawings', async () => {
    const page = await openPage(world.browser);
    await page.goto(`${world.demo.home}/sign-in`);
    for (const drawn of truth) {
      const told = await page.evaluate(async ({ matrix, wound }) => {
        const { figures, toMm, thinned, ringArea } = await import('/static/staff/outline_geometry.js');
        const mm = (ring) => ring.map((point) => toMm(matrix, point));
        const pieces = wound.map(({ edge, islands }) => ({ edge: mm(edge), islands: islands.map(mm) }));
        const dense = Array.from({ length: 720 }, (_, at) => [20 * Math.cos((at / 360) * Math.PI), 30 * Math.sin((at / 360) * Math.PI)]);
        const kept = thinned(dense, 0.2).map((at) => dense[at]);
        return { ...figures(pieces, null), points: kept.length, share: ringArea(kept) / ringArea(dense) };
      }, drawn);
      for (const name of ['area', 'perimeter', 'length', 'width']) near(told[name], drawn[name], 1e-9, name);
      assert.ok(told.points >= 12 && told.points < 60, `${told.points} points to handle`);
      near(told.share, 1, 0.02, 'area of the thinned ring');
    }
    await page.context().close();
  });

  test('crossings and a far redness edge are measured as drawn', async () => {
    const page = await openPage(world.browser);
    await page.goto(`${world.demo.home}/sign-in`);
    const told = await page.evaluate(async () => {
      const { crossing, reach, extent } = await import('/static/staff/outline_geometry.js');
      const square = (half) => [[-half, -half], [half, -half], [half, half], [-half, half]];
      return {
        bow: crossing([[0, 0], [9, 9], [9, 0], [0, 9]]),
        plain: crossing(square(5)),
        reach: reach(square(15), [square(10)]),
        inside: reach(square(5), [square(10)]),
        extent: extent([[0, 0], [40, 0], [40, 20], [0, 20]]),
      };
    });
    assert.deepEqual(told.bow, [4.5, 4.5]);
    assert.equal(told.plain, null);
    // Along a side 5 mm, at the corner 5·√2.
    near(told.reach.max, 5 * Math.SQRT2, 1e-9, 'farthest');
    assert.ok(told.reach.p95 > 5 && told.reach.p95 < 5 * Math.SQRT2);
    assert.deepEqual(told.inside, { max: 0, p95: 0 });
    near(told.extent.length, Math.hypot(40, 20), 1e-9, 'length');
    near(told.extent.width, 1600 / Math.hypot(40, 20), 1e-9, 'width');
    await page.context().close();
  });

  test('a surgeon draws on a photo', async (t) => {
    const { address, phone } = await measuredCheck(world, 'Bartholomew Featherstonehaugh-Montgomery', ['b-day04.jpg']);
    await phone.context().close();

    await t.test('the page shows figures with ranges, and lines over the photo', async () => {
      const page = await signIn(world.browser, world.demo, 'surgeon');
      await page.goto(address);
      await mustSay(page, /Area \d\.\d cm² \(\d\.\d–\d\.\d\)/);
      await mustSay(page, 'slough or fat, colour cannot tell them apart');
      assert.equal(await page.locator('.photo-set.now .overlay .line-edge.over').count(), 1);
      await page.locator('.show-edge').first().uncheck();
      assert.equal(await page.locator('.photo-set.now .overlay .line-edge.over').isVisible(), false);
      await shoot(page, 'review-measured');
      noComplaints(page, 'review');
      await page.context().close();
    });

    await t.test('with the mouse: drag, undo, add, remove', async () => {
      const page = await signIn(world.browser, world.demo, 'surgeon');
      await openDesk(page, address);
      await noViolations(page, 'the desk at 1280');
      await shoot(page, 'desk');
      const [before, at] = [await figure(page, 'Area'), await roomiest(page)];
      const count = await handles(page);
      const from = await middleOf(handle(page, at));
      const middle = await middleOf(page.locator('.desk-lines .active.over'));
      const out = [0, 1].map((axis) => from[axis] + Math.sign(from[axis] - middle[axis]) * 40);
      await page.mouse.move(...from);
      await page.mouse.down();
      await page.mouse.move(...out, { steps: 5 });
      await page.mouse.up();
      const pulled = await figure(page, 'Area');
      assert.ok(pulled > before, `${pulled} is not more than ${before}`);
      await page.getByRole('button', { name: 'Undo' }).click();
      assert.equal(await figure(page, 'Area'), before);
      await page.getByRole('button', { name: 'Redo' }).click();
      assert.equal(await figure(page, 'Area'), pulled);
      await handle(page, at).focus();
      await page.keyboard.press('Control+z');
      assert.equal(await figure(page, 'Area'), before);
      // A press on the line between two points adds one there.
      const [one, next] = [await middleOf(handle(page, at)), await middleOf(handle(page, (at + 1) % count))];
      await page.mouse.click((one[0] + next[0]) / 2, (one[1] + next[1]) / 2);
      assert.equal(await handles(page), count + 1);
      await page.keyboard.press('Delete');
      assert.equal(await handles(page), count);
      await page.mouse.move(...middle);
      await page.mouse.wheel(0, -400);
      noComplaints(page, 'the desk');
      await page.context().close();
    });

    await t.test('a line that crosses itself is told at once and cannot be saved', async () => {
      const page = await signIn(world.browser, world.demo, 'surgeon');
      await openDesk(page, address);
      const at = await roomiest(page);
      const [from, middle] = [await middleOf(handle(page, at)), await middleOf(page.locator('.desk-lines .active.over'))];
      await page.mouse.move(...from);
      await page.mouse.down();
      await page.mouse.move(...[0, 1].map((axis) => 2.6 * middle[axis] - 1.6 * from[axis]), { steps: 8 });
      await page.mouse.up();
      await mustSay(page, 'The wound edge crosses itself at the cross in the picture.');
      assert.ok(await page.locator('.desk-crosses path').count() >= 1);
      await page.getByRole('button', { name: 'Save as drawn by hand' }).click();
      assert.equal(await page.locator('.outline-desk[open]').count(), 1, 'nothing was sent');
      await page.getByRole('button', { name: 'Undo' }).click();
      assert.equal(await page.locator('.desk-faults .fault').count(), 0);
      await page.context().close();
    });

    await t.test('with keys alone, to the kept measurement; what was typed elsewhere stays', async () => {
      const page = await signIn(world.browser, world.demo, 'surgeon');
      await page.goto(address);
      const canDecide = (await page.locator('#reply').count()) > 0;
      if (canDecide) await page.fill('#reply', 'Half an answer');
      await page.locator('.draw').first().focus();
      await page.keyboard.press('Enter');
      await page.waitForSelector('.desk-handles circle');
      const before = await figure(page, 'Area');
      const count = await handles(page);
      while (!(await page.evaluate(() => document.activeElement.matches('.desk-handles circle')))) await page.keyboard.press('Shift+Tab');
      const place = () => page.evaluate(() => Number(document.activeElement.getAttribute('cx')));
      const x = await place();
      await page.keyboard.press('ArrowLeft');
      assert.ok(Math.abs((await place()) - (x - 1)) < 0.06, 'an arrow moves by one px');
      await page.keyboard.press('Shift+ArrowLeft');
      assert.ok(Math.abs((await place()) - (x - 11)) < 0.06, 'with Shift by ten');
      const number = await page.evaluate(() => document.activeElement.getAttribute('aria-label'));
      await page.keyboard.press('Shift+Tab');
      assert.notEqual(await page.evaluate(() => document.activeElement.getAttribute('aria-label')), number);
      await page.keyboard.press('a');
      await page.keyboard.press('Insert');
      assert.equal(await handles(page), count + 2);
      await page.keyboard.press('Delete');
      await page.keyboard.press('Delete');
      assert.equal(await handles(page), count);
      assert.notEqual(await figure(page, 'Edge around'), 0);
      await page.keyboard.press('Escape');
      assert.equal(await page.evaluate(() => document.activeElement.id), 'desk-ring', 'Escape leaves the points');
      await page.locator('.on-desk input[name=depth]').fill('7.5');
      const live = await figure(page, 'Area');
      await page.keyboard.press('Tab');
      await page.keyboard.press('Tab');
      await page.keyboard.press('Enter');
      await page.waitForSelector('.outline-desk', { state: 'detached' });
      await mustSay(page, 'confirmed by Dr. Imre Castellane');
      await mustSay(page, '7.5 mm, probed at a visit');
      const stored = (await page.locator('.photo-set.now .measures').first().innerText()).match(/([\d.]+) cm²/)[1] * 100;
      assert.ok(Math.abs(stored - live) <= 10, `kept ${stored}, shown while drawing ${live}`);
      assert.ok(Math.abs(live - before) < before / 2);
      if (canDecide) assert.equal(await page.inputValue('#reply'), 'Half an answer');
      noComplaints(page, 'the desk by keys');
      await page.context().close();
    });

    await t.test('with a finger: the point keeps its distance, a magnifier shows it, two fingers enlarge', async () => {
      const page = await signIn(world.browser, world.demo, 'surgeon', { viewport: PHONE });
      await openDesk(page, address);
      await noViolations(page, 'the desk at 390');
      await shoot(page, 'desk');
      const [at, before] = [await roomiest(page), await figure(page, 'Edge around')];
      const from = await middleOf(handle(page, at));
      const beside = await besideHandle(page, at, 15);
      await touch(page, 'touchStart', [beside]);
      for (const step of [1, 2, 3, 4]) await touch(page, 'touchMove', [[beside[0] + 8 * step, beside[1] + 6 * step]]);
      assert.equal(await page.locator('.loupe').isVisible(), true, 'the magnifier shows while a finger drags');
      await shoot(page, 'desk-finger');
      await touch(page, 'touchEnd', []);
      assert.equal(await page.locator('.loupe').isVisible(), false);
      const to = await middleOf(handle(page, at));
      assert.ok(Math.hypot(to[0] - from[0] - 32, to[1] - from[1] - 24) < 3, `moved by ${to[0] - from[0]}, ${to[1] - from[1]}`);
      assert.notEqual(await figure(page, 'Edge around'), before);
      const wide = () => page.locator('.desk-picture').evaluate((svg) => svg.viewBox.baseVal.width);
      const whole = await wide();
      await touch(page, 'touchStart', [[150, 60], [250, 60]]);
      for (const step of [1, 2, 3]) await touch(page, 'touchMove', [[150 - 20 * step, 60], [250 + 20 * step, 60]]);
      await touch(page, 'touchEnd', []);
      assert.ok((await wide()) < whole / 1.8, `${await wide()} of ${whole}`);
      const small = await page.evaluate(() => [...document.querySelectorAll('.outline-desk button, .outline-desk select, .outline-desk summary')]
        .map((one) => [one.textContent, one.getBoundingClientRect()]).filter(([, box]) => box.height > 0 && box.height < 24).map(([words]) => words));
      assert.deepEqual(small, [], 'targets under 24 px');
      noComplaints(page, 'the desk by finger');
      await page.context().close();
    });

    await t.test('a line that breaks keeps the drawing, and the next press keeps it', async () => {
      const page = await signIn(world.browser, world.demo, 'surgeon');
      await openDesk(page, address);
      await handle(page, 0).focus();
      await page.keyboard.press('Shift+ArrowUp');
      await page.route('**/outline', (route) => route.abort());
      await page.getByRole('button', { name: 'Save as drawn by hand' }).click();
      await mustSay(page, 'Not saved: the server could not be reached. What you drew is still here');
      await page.unroute('**/outline');
      await page.getByRole('button', { name: 'Save as drawn by hand' }).click();
      await page.waitForSelector('.outline-desk', { state: 'detached' });
      await page.context().close();
    });

    await t.test('without scripts a depth can be entered', async () => {
      const page = await signIn(world.browser, world.demo, 'surgeon', { javaScript: false });
      await page.goto(address);
      await page.locator('.by-hand summary').first().click();
      await page.fill('#depth-1', '9');
      await Promise.all([page.waitForLoadState('load'), page.locator('.outline-form button').first().click()]);
      await mustSay(page, '9.0 mm, probed at a visit');
      await page.context().close();
    });
  });

  test('two photos are laid at the same scale, with a slider that keys move', async () => {
    const { address, phone } = await measuredCheck(world, 'Sofie Twice', ['b-day04.jpg', 'b-day05.jpg']);
    await phone.context().close();
    const page = await signIn(world.browser, world.demo, 'surgeon');
    await page.goto(address);
    await mustSay(page, 'Since the check before');
    await mustSay(page, /Redness beyond the edge 1\d mm → 3\d mm, \+\d+ %: bigger/);
    await page.locator('.same-scale').scrollIntoViewIfNeeded();
    const transforms = await page.locator('.warped').evaluateAll((all) => all.map((one) => one.style.transform));
    assert.equal(transforms.length, 2);
    assert.ok(transforms.every((words) => words.startsWith('matrix3d(')), transforms.join('\n'));
    assert.ok((await page.locator('.same-scale .line-then.over').count()) >= 1, 'the edge of the last photo lies on this one');
    await page.check('input[name=side-way][value=wipe]');
    await page.focus('#side-range');
    const clip = () => page.locator('.side-then .side-frame').evaluate((one) => one.style.clipPath);
    const before = await clip();
    await page.keyboard.press('ArrowRight');
    assert.notEqual(await clip(), before);
    await page.check('input[name=side-way][value=fade]');
    assert.notEqual(await page.locator('.side-then .side-frame').evaluate((one) => one.style.opacity), '');
    for (const viewport of [PHONE, DESK]) {
      await page.setViewportSize(viewport);
      await shoot(page, 'side-by-side');
      await noViolations(page, `side by side at ${viewport.width}`);
    }
    await noSideScroll(page, 'side by side');
    noComplaints(page, 'side by side');
    await page.context().close();

    const plain = await signIn(world.browser, world.demo, 'surgeon', { javaScript: false });
    await plain.goto(address);
    assert.equal(await plain.locator('.same-scale').isVisible(), false);
    assert.equal(await plain.locator('.photo-pair img').count(), 2, 'both stand as they were taken');
    await mustSay(plain, 'Since the check before');
    await plain.context().close();
  });

  test('a patient is told what to do better, and sends one more photo with a tap of the finger', async () => {
    const { browser, demo } = world;
    const office = await signIn(browser, demo, 'office');
    const link = await enrol(office, demo, { name: 'Nora Nocard' });
    await office.context().close();
    const phone = await openLink(browser, link);
    await phone.goto(`${demo.home}/my/check`);
    await fillCheck(phone, { photo: 'f-day05-no-card.jpg', answers: [['better', 'better']] });
    await Promise.all([phone.waitForURL('**/my/sent/**', { timeout: 60_000 }), phone.click('#send')]);
    const sent = phone.url();
    // It comes by itself, without the page being loaded again.
    await phone.waitForSelector('text=Lay the card flat beside the wound and try again.', { timeout: 60_000 });
    await shoot(phone, 'sent-no-card');
    await noViolations(phone, 'sent without a card');
    await bigTargets(phone, 'sent without a card');
    await phone.setInputFiles('#add-photo', painted('a-day12.jpg'));
    await tapWound(phone, 'a-day12.jpg');
    const spot = phone.locator('.photo-card .spot');
    assert.equal(await spot.isVisible(), true, 'the tapped place is marked');
    const first = await middleOf(spot);
    const frame = await middleOf(phone.locator('.photo-card .frame'));
    await phone.touchscreen.tap(frame[0] + 40, frame[1] - 30);
    assert.ok(Math.hypot((await middleOf(spot))[0] - first[0], (await middleOf(spot))[1] - first[1]) > 5, 'a second tap moves the mark');
    await tapWound(phone, 'a-day12.jpg');
    await Promise.all([phone.waitForEvent('load'), phone.getByRole('button', { name: 'Send this photo' }).click()]);
    assert.equal(phone.url(), sent, 'the same check');
    await phone.waitForSelector('text=Photo 2 came through', { timeout: 60_000 });
    noComplaints(phone, 'sent');
    await phone.context().close();
  });

  test('without scripts a link looks again, and a photo goes without a tap', async () => {
    const { browser, demo } = world;
    const office = await signIn(browser, demo, 'office');
    const link = await enrol(office, demo, { name: 'Otto Plain' });
    await office.context().close();
    const phone = await openLink(browser, link, { javaScript: false });
    await phone.goto(`${demo.home}/my/check?page=one`);
    await tick(phone, 'danger', 'none');
    await phone.setInputFiles('#photo-1', painted('f-day05-no-card.jpg'));
    await Promise.all([phone.waitForURL('**/my/sent/**', { timeout: 60_000 }), phone.click('#send')]);
    for (let tries = 0; tries < 20 && !(await phone.content()).includes('Lay the card flat'); tries++) {
      await phone.waitForTimeout(1_000);
      await phone.reload();
    }
    await mustSay(phone, 'Lay the card flat beside the wound and try again.');
    await phone.setInputFiles('#photo', painted('a-day12.jpg'));
    await Promise.all([phone.waitForLoadState('load'), phone.getByRole('button', { name: 'Send this photo' }).click()]);
    await mustSay(phone, 'Photo 2 came through');
    await phone.context().close();
  });
};
