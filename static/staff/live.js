// Keeps the queue true: reads the list again when the server says that something changed, and says loudly when
// nobody can say so any more.

import { ring } from './sound.js';

const SILENT_AFTER_MS = 20000; // the server beats every 10 s
const POLL_MS = 15000; // while the line is down
const REREAD_MS = 60000; // overdue checks rise without anything having changed
const ANSWER_MS = 18000; // every second beat is answered: so the server knows that this page still runs
const SAID_MS = 10000;

const list = document.getElementById('list');
const banner = document.getElementById('not-live');
const state = document.getElementById('live');
const words = document.getElementById('live-words');
// An onlooker's pages lie elsewhere, and nobody sits at a desk there.
const root = list.dataset.root ?? '';

let heard = Date.now();
let readAt = Date.now();
let source = null;
let reading = false;
let again = false;
let signedOut = false;
let answeredAt = 0;
let saidAt = 0;
let known = urgentRows();
let urgent = urgentCount();

function urgentRows() {
  return new Set([...list.querySelectorAll('.edge-go_now .row-open, .edge-ring_now .row-open')].map((row) => row.id));
}

// All that wait, whatever the search shows.
function urgentCount() {
  return Number(list.querySelector('[data-urgent]')?.dataset.urgent ?? 0);
}

const clock = (ms) => new Date(ms).toTimeString().slice(0, 5);

function live() {
  heard = Date.now();
  if (!banner.hidden) {
    banner.hidden = true;
    read(); // whatever was said during the silence
  }
  state.textContent = 'Live';
  state.className = 'live-state on';
}

function notLive() {
  if (signedOut) return;
  if (banner.hidden) {
    banner.querySelector('.not-live-words').textContent = `NOT LIVE since ${clock(heard)}`;
    banner.hidden = false;
  }
  banner.querySelector('.not-live-more').textContent =
    `The list was last read at ${clock(readAt)}. Trying again every ${POLL_MS / 1000} seconds.`;
  state.textContent = 'Not live';
  state.className = 'live-state';
}

function out() {
  signedOut = true;
  source?.close();
  const over = root ? 'This look is over.' : 'You were signed out.';
  banner.querySelector('.not-live-words').textContent = `${over} NOT LIVE since ${clock(heard)}`;
  const more = banner.querySelector('.not-live-more');
  more.textContent = '';
  list.replaceChildren();
  document.dispatchEvent(new Event('signed-out'));
  const link = document.createElement('a');
  link.href = root ? '/envelope' : '/sign-in';
  link.textContent = root ? 'A code opens once: a lead prints another' : 'Sign in again';
  more.append(link);
  banner.hidden = false;
  state.textContent = 'Not live';
  state.className = 'live-state';
}

async function read() {
  if (signedOut) return;
  if (reading) {
    again = true;
    return;
  }
  reading = true;
  try {
    const asked = new URLSearchParams(location.search);
    asked.set('fragment', '1');
    const answer = await fetch(`${root}/queue?${asked}`, { headers: { 'x-unattended': '1' }, signal: AbortSignal.timeout(10000) });
    if (answer.redirected || answer.status === 401) return out();
    if (!answer.ok) throw new Error(String(answer.status));
    swap(await answer.text());
    readAt = Date.now();
  } catch {
    if (Date.now() - heard > SILENT_AFTER_MS) notLive();
  } finally {
    reading = false;
    if (again) {
      again = false;
      setTimeout(read, 300);
    }
  }
}

function swap(html) {
  const focused = list.contains(document.activeElement) ? document.activeElement.id : '';
  const known = new Set([...list.querySelectorAll('.row-open')].map((row) => row.id));
  const place = [...list.querySelectorAll('.row-open')].findIndex((row) => row.id === focused);
  list.replaceChildren(...new DOMParser().parseFromString(html, 'text/html').body.childNodes);
  const rows = [...list.querySelectorAll('.row-open')];
  if (focused) (document.getElementById(focused) ?? rows[Math.min(place, rows.length - 1)])?.focus({ preventScroll: true });
  const fresh = rows.filter((row) => !known.has(row.id)).length;
  const line = document.getElementById('waiting-line')?.textContent ?? '';
  const rung = soundIfUrgent();
  say([rung, fresh > 0 ? `${fresh} new. ${line}` : ''].filter(Boolean).join(' '));
  document.title = document.title.replace(/^(\(\d+\) )?/, rows.length > 0 ? `(${rows.length}) ` : '');
  document.dispatchEvent(new Event('rows-read'));
}

// For a screen reader: what is new stays long enough to be read out, however soon the list is read again.
function say(news) {
  if (news) saidAt = Date.now();
  if (news || Date.now() - saidAt > SAID_MS) words.textContent = news;
}

// What is said; empty when nothing urgent is new.
function soundIfUrgent() {
  const now = urgentRows();
  const count = urgentCount();
  const isNew = count > urgent || [...now].some((id) => !known.has(id));
  known = now;
  urgent = count;
  if (!isNew) return '';
  ring();
  return 'Something urgent is new.';
}

// Tells the server that its beat was heard here. That it cannot be told shows on the line itself.
function answer(beat) {
  if (root || signedOut || Date.now() - answeredAt < ANSWER_MS) return;
  answeredAt = Date.now();
  fetch('/here', { method: 'POST', headers: { 'x-unattended': '1' }, body: new URLSearchParams({ beat }) }).catch(() => {});
}

function listen() {
  source?.close();
  source = new EventSource(`${root}/queue/stream`);
  source.addEventListener('beat', (event) => {
    live();
    answer(event.data);
  });
  source.addEventListener('changed', () => {
    live();
    read();
  });
  // Whatever happened while nobody listened is in the list: it is read whole, each time the line is new.
  source.addEventListener('open', read);
  source.addEventListener('error', () => {
    if (source.readyState === EventSource.CLOSED) read();
  });
}

function check() {
  if (signedOut) return;
  if (Date.now() - heard > SILENT_AFTER_MS) {
    notLive();
    read();
    if (source.readyState === EventSource.CLOSED || Date.now() - heard > 2 * SILENT_AFTER_MS) listen();
  }
}

// Somebody signed in again in another tab.
document.addEventListener('unlocked', () => {
  if (!signedOut) return;
  signedOut = false;
  listen();
  read();
});

listen();
setInterval(check, POLL_MS / 3);
setInterval(read, REREAD_MS);
// A page that was asleep says so before it says anything else.
for (const woken of ['resume', 'visibilitychange']) {
  document.addEventListener(woken, () => {
    if (document.hidden) return;
    check();
    read();
  });
}
