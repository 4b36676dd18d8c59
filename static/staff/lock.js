// A page nobody used for a quarter of an hour shows no patient any more. It rings all the same when something urgent comes,
// and comes back as it was, with what was typed, once somebody has signed in again.

import { ring } from './sound.js';

const IDLE_MS = 15 * 60_000; // as long as a session lasts without a page
const LOOK_MS = 30_000;
const SILENT_AFTER_MS = 25_000; // the server says something every 10 s

const title = document.title;
const aside = document.createDocumentFragment();
let usedAt = Date.now();
let lock = null;
let source = null;
let urgent = 0;
let heard = 0;

async function isSignedIn() {
  const answer = await fetch('/here', { method: 'POST', headers: { 'x-unattended': '1' }, body: new URLSearchParams({ beat: 0 }) });
  return answer.ok && !answer.redirected;
}

function words() {
  if (Date.now() - heard > SILENT_AFTER_MS) return 'NOT LIVE: nothing rings here now. Sign in.';
  if (urgent === 0) return 'Nothing urgent waits. It rings here when something does.';
  return urgent === 1 ? '1 urgent thing waits.' : `${urgent} urgent things wait.`;
}

function show() {
  if (!lock) return;
  lock.querySelector('[role=alert]').textContent = words();
  document.title = urgent > 0 ? `(${urgent}) Locked` : 'Locked';
}

function listen() {
  source = new EventSource('/pulse');
  source.addEventListener('urgent', (event) => {
    const now = Number(event.data);
    if (heard > 0 && now > urgent) ring();
    urgent = now;
    heard = Date.now();
    show();
  });
}

export function lockNow() {
  if (lock) return;
  lock = document.createElement('main');
  lock.className = 'locked';
  const heading = document.createElement('h1');
  heading.textContent = 'Locked';
  const told = document.createElement('p');
  told.setAttribute('role', 'alert');
  const link = document.createElement('a');
  link.href = '/sign-in';
  link.target = '_blank';
  link.className = 'press';
  link.textContent = 'Sign in';
  const more = document.createElement('p');
  more.className = 'hint';
  more.textContent = 'It opens in a tab of its own. This page comes back as it was, with what you typed.';
  lock.append(heading, told, link, more);
  // Nothing of the page is in the document any more; set aside, its forms keep what was typed.
  aside.append(...document.body.childNodes);
  document.body.append(lock);
  link.focus();
  show();
  listen();
}

function unlock() {
  source?.close();
  lock.remove();
  lock = null;
  heard = 0;
  document.body.append(aside);
  document.title = title;
  document.dispatchEvent(new Event('unlocked'));
}

async function look() {
  show();
  try {
    if (lock) {
      if (source?.readyState === EventSource.CLOSED) listen();
      if (!document.hidden && (await isSignedIn())) unlock();
    } else if (Date.now() - usedAt > IDLE_MS && !(await isSignedIn())) {
      lockNow();
    }
  } catch {
    // The line is down: a page that cannot ask whether it may show a patient shows none.
    if (!lock && Date.now() - usedAt > IDLE_MS) lockNow();
  }
}

setInterval(look, LOOK_MS);
document.addEventListener('visibilitychange', () => document.hidden || look());
document.addEventListener('signed-out', lockNow);
