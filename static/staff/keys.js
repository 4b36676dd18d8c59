// Keys that work on every staff page. Everything they do can also be pressed.

const typing = (target) =>
  target instanceof HTMLElement &&
  (target.isContentEditable || /^(TEXTAREA|SELECT)$/.test(target.tagName) ||
    (target.tagName === 'INPUT' && !/^(radio|checkbox|button|submit)$/.test(target.type)));

const rows = () => [...document.querySelectorAll('.row-open')];

function move(step) {
  const all = rows();
  if (all.length === 0) return false;
  const here = all.indexOf(document.activeElement);
  const next = here < 0 ? (step > 0 ? 0 : all.length - 1) : Math.min(all.length - 1, Math.max(0, here + step));
  all[next].focus();
  all[next].closest('.row').scrollIntoView({ block: 'nearest' });
  return true;
}

function toggleKeys() {
  const keys = document.getElementById('keys');
  keys.open = !keys.open;
  if (keys.open) {
    keys.querySelector('summary').focus();
    keys.scrollIntoView({ block: 'end' });
  }
}

function press(event) {
  switch (event.key) {
    case 'j': return move(1);
    case 'k': return move(-1);
    case 'ArrowDown': return document.activeElement?.type !== 'radio' && rows().includes(document.activeElement) && move(1);
    case 'ArrowUp': return document.activeElement?.type !== 'radio' && rows().includes(document.activeElement) && move(-1);
    case '/': {
      const search = document.getElementById('search');
      search?.focus();
      search?.select();
      return Boolean(search);
    }
    case 'u': {
      const back = document.querySelector('[data-back]');
      back?.click();
      return Boolean(back);
    }
    case '?': toggleKeys(); return true;
    default: return false;
  }
}

document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  if (document.querySelector('dialog[open]')) return;
  if (typing(event.target)) {
    if (event.key === 'Escape') event.target.blur();
    return;
  }
  if (press(event)) event.preventDefault();
});

// A form that came back with faults says so first.
document.getElementById('summary')?.focus();

// Time left goes on while a page is open: from the server's clock, not this machine's.
const said = document.querySelector('[data-now]');
if (said) {
  const ahead = Number(said.dataset.now) - Date.now();
  const span = (minutes) =>
    minutes < 60 ? `${minutes} min` : minutes < 2880 ? `${Math.floor(minutes / 60)} h` : `${Math.floor(minutes / 1440)} d`;
  const tell = () => {
    const now = Date.now() + ahead;
    for (const left of document.querySelectorAll('[data-due]')) {
      const minutes = Math.floor((Number(left.dataset.due) - now) / 60000);
      left.textContent = minutes >= 0 ? `in ${span(minutes)}` : `${span(-minutes)} over`;
      left.classList.toggle('over', minutes < 0);
    }
  };
  tell();
  setInterval(tell, 15000);
  document.addEventListener('rows-read', tell);
}
