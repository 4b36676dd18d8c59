// Photos with their measurements: opens the desk for drawing when it is asked for, and reads the page's parts anew after
// something was kept. What is typed elsewhere on the page stays.
import { beginSideBySide } from './side_by_side.js';

const words = (form) => (JSON.parse(form.elements.rings.value || '{"wound":[]}').wound.length > 0 ? 'Correct the outline' : 'Draw the outline');

async function draw(form, button) {
  button.disabled = true;
  try {
    const { openDesk } = await import('./outline.js');
    openDesk(form, button);
  } catch {
    button.textContent = 'The drawing could not be opened. Try again';
  }
  button.disabled = false;
}

function begin(root) {
  for (const form of root.querySelectorAll('.outline-form')) {
    form.querySelector('.only-plain')?.remove();
    const button = Object.assign(document.createElement('button'), { type: 'button', className: 'press second draw', textContent: words(form) });
    button.addEventListener('click', () => draw(form, button));
    form.closest('.by-hand').before(button);
    if ('open' in form.dataset) draw(form, button);
  }
}

document.addEventListener('measured', ({ detail: page }) => {
  for (const part of document.querySelectorAll('[data-part]')) {
    const fresh = page.querySelector(`[data-part="${CSS.escape(part.dataset.part)}"]`);
    if (fresh) part.replaceWith(fresh);
  }
  begin(document);
  beginSideBySide();
  document.querySelector('.draw')?.focus();
});

document.addEventListener('keydown', (event) => {
  if (event.key !== 'o' || event.ctrlKey || event.metaKey || event.altKey || document.querySelector('dialog[open]')) return;
  if (/^(TEXTAREA|SELECT)$/.test(event.target.tagName) || (event.target.tagName === 'INPUT' && !/^(radio|checkbox)$/.test(event.target.type))) return;
  const button = document.querySelector('.draw');
  if (!button) return;
  button.click();
  event.preventDefault();
});

beginSideBySide();
begin(document);
