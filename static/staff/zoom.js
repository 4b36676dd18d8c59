// One photo at its full size: plus and minus, arrows or dragging to move, n and p for the other photos.

const dialog = document.getElementById('zoomed');
let links = [];
let at = 0;
let scale = 1;
let image = null;
let pane = null;

function button(words, label, press) {
  const made = document.createElement('button');
  made.type = 'button';
  made.textContent = words;
  made.setAttribute('aria-label', label);
  made.addEventListener('click', press);
  return made;
}

function size(next) {
  if (!image.naturalWidth) return;
  const middle = [pane.scrollLeft + pane.clientWidth / 2, pane.scrollTop + pane.clientHeight / 2].map((px) => px / scale);
  scale = Math.min(6, Math.max(fit(), next));
  image.width = Math.round(image.naturalWidth * scale);
  image.height = Math.round(image.naturalHeight * scale);
  pane.scrollLeft = middle[0] * scale - pane.clientWidth / 2;
  pane.scrollTop = middle[1] * scale - pane.clientHeight / 2;
}

const fit = () => Math.min(pane.clientWidth / image.naturalWidth, pane.clientHeight / image.naturalHeight);

function show(place) {
  at = (place + links.length) % links.length;
  const link = links[at];
  const small = link.querySelector('img');
  const heading = link.closest('.photo-set')?.querySelector('h3')?.textContent ?? '';
  pane = document.createElement('div');
  pane.className = 'pane';
  image = document.createElement('img');
  image.alt = small.alt;
  image.draggable = false;
  image.addEventListener('load', () => size(fit()), { once: true });
  image.src = link.href;
  pane.append(image);
  const bar = document.createElement('div');
  bar.className = 'bar';
  bar.append(button('−', 'Smaller', () => size(scale / 1.4)), button('+', 'Larger', () => size(scale * 1.4)));
  if (links.length > 1) bar.append(button('›', 'Next photo', () => show(at + 1)));
  bar.append(button('Close', 'Close', () => dialog.close()));
  const label = document.createElement('p');
  label.className = 'label';
  label.textContent = heading;
  dialog.replaceChildren(pane, bar, label);
  drag();
}

function drag() {
  let from = null;
  pane.addEventListener('pointerdown', (event) => {
    if (event.pointerType === 'touch') return; // a finger scrolls by itself
    from = [event.clientX + pane.scrollLeft, event.clientY + pane.scrollTop];
    pane.setPointerCapture(event.pointerId);
  });
  pane.addEventListener('pointermove', (event) => {
    if (!from) return;
    pane.scrollLeft = from[0] - event.clientX;
    pane.scrollTop = from[1] - event.clientY;
  });
  pane.addEventListener('pointerup', () => { from = null; });
  pane.addEventListener('dblclick', () => size(scale * 2));
  pane.addEventListener('wheel', (event) => {
    event.preventDefault();
    size(scale * (event.deltaY < 0 ? 1.15 : 1 / 1.15));
  }, { passive: false });
}

dialog?.addEventListener('keydown', (event) => {
  const step = 80;
  const keys = {
    '+': () => size(scale * 1.4), '=': () => size(scale * 1.4), '-': () => size(scale / 1.4), '0': () => size(fit()),
    ArrowLeft: () => { pane.scrollLeft -= step; }, ArrowRight: () => { pane.scrollLeft += step; },
    ArrowUp: () => { pane.scrollTop -= step; }, ArrowDown: () => { pane.scrollTop += step; },
    n: () => show(at + 1), p: () => show(at - 1), z: () => dialog.close(),
  };
  const act = keys[event.key];
  if (!act) return;
  act();
  event.preventDefault();
});

/** Opens a photo; `all` are the links of the page's photos, this one among them. */
function enlarge(link, all) {
  links = all;
  dialog.showModal();
  show(all.indexOf(link));
  dialog.addEventListener('close', () => {
    dialog.replaceChildren();
    links[at]?.focus();
  }, { once: true });
}

for (const link of document.querySelectorAll('[data-zoom]')) {
  link.addEventListener('click', (event) => {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    enlarge(link, [...document.querySelectorAll('[data-zoom]')]);
  });
}
