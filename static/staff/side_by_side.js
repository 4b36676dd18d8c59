// Two photos at the same scale: each is laid into a frame of skin by its own perspective; a slider or a fade goes between.

function lay(desk) {
  const frame = desk.querySelector('.side-frame');
  const pxPerMm = frame.clientWidth / Number(desk.dataset.sideMm);
  if (!pxPerMm) return;
  for (const warped of desk.querySelectorAll('.warped')) {
    const { width, height, warp } = warped.dataset;
    const [[a, b, c], [d, e, f], [g, h, i]] = JSON.parse(warp);
    const s = pxPerMm;
    const columns = [a * s, d * s, 0, g, b * s, e * s, 0, h, 0, 0, 1, 0, c * s, f * s, 0, i];
    warped.style.width = `${width}px`;
    warped.style.height = `${height}px`;
    warped.style.transform = `matrix3d(${columns.map((cell) => cell.toFixed(9)).join(',')})`;
  }
}

function show(desk) {
  const way = desk.querySelector('input[name="side-way"]:checked').value;
  const range = desk.querySelector('input[type="range"]');
  const then = desk.querySelector('.side-then .side-frame');
  desk.querySelector('.side-frames').dataset.way = way;
  desk.querySelector('.side-range').hidden = way === 'pair';
  const part = Number(range.value);
  then.style.opacity = way === 'fade' ? String(part / 100) : '';
  then.style.clipPath = way === 'wipe' ? `inset(0 ${100 - part}% 0 0)` : '';
  range.setAttribute('aria-valuetext', way === 'fade' ? `the earlier photo shows through by ${part} percent` : `the earlier photo covers the left ${part} percent`);
  lay(desk);
}

/** Brings the page's pair to one scale. */
export function beginSideBySide() {
  const desk = document.querySelector('.same-scale');
  if (!desk || !desk.hidden) return;
  desk.hidden = false;
  // Pictures come only where they can be laid into their frames.
  for (const picture of desk.querySelectorAll('img[data-src]')) picture.src = picture.dataset.src;
  desk.addEventListener('change', () => show(desk));
  desk.addEventListener('input', () => show(desk));
  new ResizeObserver(() => lay(desk)).observe(desk.querySelector('.side-frames'));
  show(desk);
}
