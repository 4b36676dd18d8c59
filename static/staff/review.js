// Deciding quickly: number keys, the practice's texts filled in at once, blanks found.

const form = document.getElementById('decide-form');
const reply = document.getElementById('reply');
const help = document.getElementById('reply-help');
const BLANK = /\{[a-z_]+\}/g;

let filled = ''; // what the page itself last put into the answer

function blanks() {
  const comeIn = Boolean(document.getElementById('come_in')?.value);
  return [...reply.value.matchAll(BLANK)].filter((blank) => !(blank[0] === '{come_in}' && comeIn));
}

function tell() {
  const left = blanks();
  help.textContent = left.length > 0 ? `Still to fill in: ${left.map((blank) => blank[0]).join(' ')}` : '';
}

function fill(text) {
  reply.value = text;
  filled = text;
  tell();
}

function nextBlank() {
  const left = blanks();
  if (left.length === 0) return;
  const next = left.find((blank) => blank.index >= reply.selectionEnd) ?? left[0];
  reply.focus();
  reply.setSelectionRange(next.index, next.index + next[0].length);
}

function chosen(radio) {
  const untouched = reply.value.trim() === '' || reply.value === filled;
  const text = radio.closest('.choice').querySelector('[data-reply]');
  if (untouched) fill(text ? text.dataset.reply : '');
  else if (text) help.textContent = 'Your own text was kept. Press the text’s name above to use it instead.';
}

if (form) {
  filled = reply.value;
  tell();
  form.addEventListener('change', (event) => {
    if (event.target.name === 'decision') chosen(event.target);
    if (event.target.id === 'come_in') tell();
  });
  reply.addEventListener('input', tell);
  form.addEventListener('click', (event) => {
    const text = event.target.closest('[data-reply]');
    if (!text || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    document.getElementById(`decision-${text.dataset.decision}`).checked = true;
    fill(text.dataset.reply);
    reply.focus();
  });
  // One press sends once.
  form.addEventListener('submit', (event) => {
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = '1';
  });
  window.addEventListener('pageshow', () => delete form.dataset.sent);
  form.addEventListener('keydown', (event) => {
    if (event.key === 'Enter' && (event.ctrlKey || event.metaKey)) form.requestSubmit();
  });
}

document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || document.querySelector('dialog[open]')) return;
  const target = event.target;
  if (/^(TEXTAREA|SELECT)$/.test(target.tagName) || (target.tagName === 'INPUT' && target.type !== 'radio')) return;
  if (event.key === 'z') {
    document.querySelector('[data-zoom]')?.click();
    event.preventDefault();
  }
  if (!form) return;
  const radio = form.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
  if (radio) {
    radio.checked = true;
    radio.focus();
    chosen(radio);
    event.preventDefault();
  } else if (event.key === 'r') {
    reply.focus();
    event.preventDefault();
  } else if (event.key === 'b') {
    nextBlank();
    event.preventDefault();
  }
});
