// The people at their screens: a browser for each, watched for complaints.
import assert from 'node:assert/strict';
import { mkdirSync } from 'node:fs';
import path from 'node:path';
import { chromium } from './modules.mjs';
import { painted } from './server.mjs';

export const PHONE = { width: 390, height: 844 };
export const DESK = { width: 1280, height: 900 };

export const launch = () =>
  chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    // Continuous integration runs as root, where Chromium's own sandbox cannot start.
    args: ['--no-sandbox', '--disable-dev-shm-usage', '--force-color-profile=srgb'],
  });

// A page of its own, without anyone's cookies. `complaints` gathers what a developer would see in red.
export async function openPage(browser, { viewport = DESK, javaScript = true, locale = 'en-US', storageState } = {}) {
  const small = viewport.width < 600;
  const context = await browser.newContext({
    viewport,
    locale,
    javaScriptEnabled: javaScript,
    isMobile: small,
    hasTouch: small,
    reducedMotion: 'reduce',
    storageState,
  });
  context.setDefaultTimeout(20_000);
  const page = await context.newPage();
  const complaints = [];
  page.on('console', (message) => {
    if (message.type() === 'error') complaints.push(message.text());
  });
  page.on('pageerror', (error) => complaints.push(String(error)));
  page.on('response', (response) => {
    if (response.status() >= 500) complaints.push(`${response.status()} ${response.url()}`);
  });
  return Object.assign(page, { complaints });
}

// Sessions that are running: a code of an app is good once in half a minute, and nobody signs in anew for each test.
const signedIn = new Map();

export async function signIn(browser, demo, role, options = {}) {
  const key = `${demo.home} ${role}`;
  if (signedIn.has(key)) {
    const page = await openPage(browser, { ...options, storageState: signedIn.get(key) });
    await page.goto(`${demo.home}/`);
    if (!/^\/(sign-in|prove)$/.test(new URL(page.url()).pathname)) return page;
    await page.context().close();
  }
  const page = await openPage(browser, options);
  await goesIn(page, demo, role);
  signedIn.set(key, await page.context().storageState());
  return page;
}

// Both steps of signing in, on a page that is there.
export async function goesIn(page, demo, role) {
  await page.goto(`${demo.home}/sign-in`);
  await page.fill('[name=sign_in_name]', demo.staff[role].name);
  await page.fill('[name=password]', demo.staff[role].password);
  await Promise.all([page.waitForURL('**/prove'), page.press('[name=password]', 'Enter')]);
  await takeSecondStep(page);
}

// Types the code that the demo shows: the one of now, or the next where that was used. Where both were, the page shows
// another one half a minute later.
export async function takeSecondStep(page) {
  for (let tries = 0; tries < 4; tries += 1) {
    await page.fill('#code', await page.textContent('#demo-code'));
    await Promise.all([page.waitForLoadState('load'), page.press('#code', 'Enter')]);
    if ((await page.locator('#demo-code').count()) === 0) return;
    page.complaints.length = 0;
    if (tries > 0) await page.waitForTimeout(31_000);
  }
  throw new Error('no code was taken');
}

// Opens a patient link on a phone: the page itself, then the button that makes the phone known.
export async function openLink(browser, link, options = {}) {
  const page = await openPage(browser, { viewport: PHONE, ...options });
  await page.goto(link.url);
  await Promise.all([page.waitForURL('**/my'), page.click('form button.press')]);
  return page;
}

// Enrols a new patient through the office's page and reads the link from the page that is shown once.
export async function enrol(office, demo, person) {
  await office.goto(`${demo.home}/patients/new`);
  await office.fill('#name', person.name);
  await office.fill('#born', '1961-04-17');
  await office.fill('#phone', person.phone ?? '202-555-0143');
  await office.selectOption('#language', person.language ?? 'en');
  await office.selectOption('#site', person.site ?? 'thigh');
  await office.selectOption('#side', 'left');
  await office.fill('#procedure', 'abscess drained');
  await office.selectOption('#surgeon', { index: 1 });
  await office.fill('#operated', person.operated ?? localMinutes(-(person.hoursAgo ?? 4 * 24) * 60));
  // Strips placed at the operation, when somebody has some.
  if (person.strips) {
    await office.check('#strips-placed');
    await office.fill('#strip_pieces', String(person.strips));
  } else {
    await office.check('#strips-none');
  }
  // Whoever meets every question of the check.
  if (person.diabetes) await office.selectOption('#diabetes', person.diabetes);
  if (person.antibiotic) await office.check('input[name=takes_antibiotic][value=yes]');
  await Promise.all([office.waitForLoadState('load'), office.click('p.send button.press')]);
  await office.waitForSelector('dd.pin');
  return {
    url: (await office.textContent('dd.address')).trim(),
    pin: (await office.textContent('dd.pin')).trim(),
    code: (await office.textContent('dd.code')).trim(),
    patient: person.name,
  };
}

// Minutes from now on the practice's clock, as a datetime-local field takes them. The demo's practice keeps New York time.
export function localMinutes(minutes) {
  const parts = new Intl.DateTimeFormat('sv-SE', {
    timeZone: 'America/New_York',
    dateStyle: 'short',
    timeStyle: 'short',
  }).format(new Date(Date.now() + minutes * 60_000));
  return parts.replace(' ', 'T');
}

// Fills in a wound check on a phone. Answers are [question, value] pairs of radio and tick boxes.
export async function fillCheck(phone, { danger = 'none', photo, temperature, answers = [], words = '' } = {}) {
  for (const sign of [danger].flat()) await tick(phone, 'danger', sign);
  if (photo) {
    await phone.setInputFiles('input[type=file]:not([disabled])', painted(photo));
  }
  if (temperature) await phone.fill('#a-temp', temperature);
  for (const [question, value] of answers) await tick(phone, question, value);
  if (words) await phone.fill('#a-words', words);
}

// Ticks a box or chooses a radio by pressing its label, as a finger does.
export async function tick(page, question, value) {
  const label = page.locator(`label[for="a-${question}-${value}"]`);
  await label.scrollIntoViewIfNeeded();
  // A row of numbers has its dots, unseen, over the whole of each number: that is what the finger meets.
  const number = page.locator(`.numbers #a-${question}-${value}`);
  await ((await number.count()) > 0 ? number : label).click();
  assert.ok(await page.isChecked(`#a-${question}-${value}`), `${question} ${value} is not ticked`);
}

export const textOf = async (page) => (await page.innerText('body')).replace(/\s+/g, ' ');

export async function mustSay(page, words) {
  const text = await textOf(page);
  const says = words instanceof RegExp ? words.test(text) : text.includes(words);
  assert.ok(says, `${page.url()} does not say ${words}:\n${text}`);
}

// Saves pictures when the environment names a folder in SHOTS: what the screen shows first as NAME-WIDTH.png, and the
// whole page as NAME-WIDTH-whole.png.
export async function shoot(page, name) {
  if (!process.env.SHOTS) return;
  mkdirSync(process.env.SHOTS, { recursive: true });
  const start = path.join(process.env.SHOTS, `${name}-${page.viewportSize().width}`);
  await page.screenshot({ path: `${start}.png` });
  await page.screenshot({ path: `${start}-whole.png`, fullPage: true });
}
