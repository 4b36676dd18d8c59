// Sounds when something urgent is new. Browsers play nothing before a press, so somebody switches the sound on once a day,
// and the page nags until then.

const KEPT = 'sound-armed';
const box = document.getElementById('sound');
const words = document.getElementById('sound-words');
const button = document.getElementById('sound-arm');

let context = null;

// A page that has no switch for it rings when the sound was switched on elsewhere.
const hasSwitch = box !== null;

const today = () => new Date().toDateString();

function armedOn() {
  try {
    return localStorage.getItem(KEPT);
  } catch {
    return null;
  }
}

function keepArmed() {
  try {
    localStorage.setItem(KEPT, today());
  } catch {
    // A browser that keeps nothing asks again on the next page.
  }
}

const armed = () => armedOn() === today();
const runs = () => context?.state === 'running';

function show() {
  if (!hasSwitch) return;
  const ready = armed() && runs();
  box.hidden = false;
  box.classList.toggle('strong-note', !ready);
  button.hidden = ready;
  if (ready) words.textContent = 'Sound is on: it rings when something urgent comes.';
  else if (armed()) words.textContent = 'The sound is off until you press anything on this page.';
  else words.textContent = 'The sound is off today. Nothing will ring when something urgent comes.';
}

function tone(from, hertz, seconds) {
  const source = context.createOscillator();
  const volume = context.createGain();
  source.frequency.value = hertz;
  volume.gain.setValueAtTime(0.25, from);
  volume.gain.exponentialRampToValueAtTime(0.001, from + seconds);
  source.connect(volume).connect(context.destination);
  source.start(from);
  source.stop(from + seconds);
}

// True when it sounded.
export function ring() {
  if (!armed() || !runs()) return false;
  for (const place of [0, 1, 2]) {
    tone(context.currentTime + place * 0.45, 880, 0.2);
    tone(context.currentTime + place * 0.45 + 0.2, 660, 0.2);
  }
  return true;
}

async function wake() {
  try {
    context ??= new AudioContext();
    context.onstatechange = show;
    await context.resume();
  } catch {
    // No sound on this machine: the nag stays.
  }
  show();
}

button?.addEventListener('click', async () => {
  keepArmed();
  await wake();
  if (runs()) tone(context.currentTime, 880, 0.2);
});

// After the first page of the day any press will do.
for (const press of ['pointerdown', 'keydown']) {
  document.addEventListener(press, () => {
    if (armed() && !runs()) wake();
  });
}

if (armed()) context = new AudioContext();
if (context) context.onstatechange = show;
show();
// A new day begins on a page that was left open.
setInterval(show, 60000);
