// Drawing the wound's edge and the redness on a photo, with mouse, finger or keys. Opened from the review page; the form
// it fills in is the page's own, and what is kept is computed by the server.
import { Drawing } from './outline_drawing.js';
import { nearestSide } from './outline_geometry.js';
import { Loupe } from './outline_loupe.js';

const SVG = 'http://www.w3.org/2000/svg';
// How near a press must be, CSS px: WCAG 2.2 asks for targets of 24 at least; a finger is given 44.
const NEAR_PX = { mouse: 13, pen: 16, touch: 22 };
const MOVED_PX = 3;
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const NEW_RINGS = { edge: ['New wound edge', 10], island: ['New skin island', 3], redness: ['New redness edge', 25] };

const make = (name, props = {}, ...children) => {
  const made = Object.assign(document.createElement(name), props);
  made.append(...children);
  return made;
};
const draw = (name, attributes) => {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
};
const path = (points) => points.map((point) => point.join(',')).join(' ');

class Desk {
  #form; #dialog; #svg; #drawing; #active = 0; #point = 0; #pointers = new Map(); #held = null; #pinch = null; #view; #loupe; #home; #opener; #said = 0;

  constructor(form, opener) {
    const { width, height, matrix, photo, heading } = form.dataset;
    this.#form = form;
    this.#opener = opener;
    const frame = [Number(width), Number(height)];
    this.#drawing = new Drawing(JSON.parse(form.elements.rings.value), JSON.parse(matrix), frame);
    this.#view = [0, 0, ...frame];
    this.#build(photo, heading, frame);
    this.#listen();
    document.body.append(this.#dialog);
    this.#dialog.showModal();
    this.#view = this.#aroundTheWound();
    this.#render();
    this.#dialog.querySelector('select').focus();
  }

  // --- what stands on the desk

  #build(photo, heading, [width, height]) {
    this.#svg = draw('svg', { class: 'desk-picture', role: 'group', 'aria-label': 'The photo with its points. Tab goes from point to point, arrow keys move one.' });
    this.#svg.append(draw('image', { href: photo, width, height }));
    this.lines = draw('g', { class: 'desk-lines' });
    this.handles = draw('g', { class: 'desk-handles' });
    this.crosses = draw('g', { class: 'desk-crosses' });
    this.#svg.append(this.lines, this.crosses, this.handles);
    this.#loupe = new Loupe(document.querySelector(`.shot img[src="${photo}"]`));
    this.rings = make('select', { id: 'desk-ring' });
    this.live = make('dl', { className: 'desk-figures' });
    this.faultWords = make('div', { className: 'desk-faults' });
    this.faultWords.setAttribute('role', 'alert');
    this.status = make('p', { className: 'for-screen-reader' });
    this.status.setAttribute('role', 'status');
    const button = (words, act, hint = '') => {
      const made = make('button', { type: 'button', className: 'quiet', textContent: words, title: hint });
      made.addEventListener('click', act);
      return made;
    };
    this.undoButton = button('Undo', () => this.#back(), 'Ctrl Z');
    this.redoButton = button('Redo', () => this.#forth(), 'Ctrl Shift Z');
    this.newButtons = Object.entries(NEW_RINGS).map(([kind, [words, radius]]) => Object.assign(button(words, () => this.#newRing(kind, radius)), { kind }));
    const tools = make('div', { className: 'desk-tools' },
      this.undoButton, this.redoButton,
      button('Add a point', () => this.#add(), 'a'), button('Remove the point', () => this.#remove(), 'Delete'));
    const zoom = make('div', { className: 'desk-zoom' },
      Object.assign(button('−', () => this.#zoom(1 / 1.5)), { ariaLabel: 'Smaller' }), Object.assign(button('+', () => this.#zoom(1.5)), { ariaLabel: 'Larger' }),
      button('Whole photo', () => { this.#view = [0, 0, width, height]; this.#render(); }));
    const more = make('details', { className: 'desk-more' }, make('summary', { textContent: 'Other lines' }),
      make('div', { className: 'desk-tools' }, ...this.newButtons, button('Remove this line', () => this.#removeRing())));
    const help = make('details', { className: 'desk-help' }, make('summary', { textContent: 'How it works' }), make('p', { textContent:
      'Drag a point; press the line to add one. A finger may hold beside its point: the point keeps its distance. Two fingers or the wheel enlarge. Keys: Tab from point to point, arrows move by 1 px, with Shift by 10, a or Insert adds, Delete removes, Ctrl Z undoes, + and − enlarge, Esc leaves the points.' }));
    this.#home = make('span', { hidden: true });
    this.#form.before(this.#home);
    this.#dialog = make('dialog', { className: 'outline-desk', ariaLabel: heading },
      make('div', { className: 'desk-stage' }, this.#svg, this.#loupe.canvas, zoom),
      make('div', { className: 'desk-side' }, make('h2', { textContent: heading }),
        make('p', { className: 'field' }, make('label', { htmlFor: 'desk-ring', textContent: 'Line to change' }), this.rings),
        tools, more, this.faultWords, this.live, this.status, this.#form, button('Close without saving', () => this.#leave()), help));
    this.#form.classList.add('on-desk');
  }

  // --- drawing it

  #unit() {
    // Picture px for one CSS px.
    const box = this.#svg.getBoundingClientRect();
    return 1 / Math.min(box.width / this.#view[2], box.height / this.#view[3]) || 1;
  }

  #ring() { return this.#drawing.rings[this.#active]; }

  #render() {
    const { rings } = this.#drawing;
    this.#active = Math.max(0, Math.min(this.#active, rings.length - 1));
    this.rings.replaceChildren(...rings.map((ring, at) => make('option', { value: at, textContent: this.#drawing.name(ring), selected: at === this.#active })));
    this.rings.disabled = rings.length === 0;
    this.#svg.setAttribute('viewBox', this.#view.join(' '));
    this.lines.replaceChildren(...rings.flatMap((ring, at) => ['under', 'over'].map((layer) =>
      draw('polygon', { class: `line-${ring.kind} ${layer}${at === this.#active ? ' active' : ''}` }))));
    const radius = 6 * this.#unit();
    this.handles.replaceChildren(...(this.#ring()?.points ?? []).map((_, at) => {
      const handle = draw('circle', { r: radius, tabindex: 0, role: 'button', 'data-point': at });
      handle.addEventListener('focus', () => this.#chosen(at));
      return handle;
    }));
    this.#redraw();
    this.#tell();
  }

  // Points have moved, none was added or removed.
  #redraw() {
    const { rings } = this.#drawing;
    [...this.lines.children].forEach((line, at) => {
      const ring = rings[at >> 1];
      line.setAttribute('points', path(at >> 1 === this.#active ? ring.points : this.#drawing.counted(ring)));
    });
    const points = this.#ring()?.points ?? [];
    [...this.handles.children].forEach((handle, at) => {
      handle.setAttribute('cx', points[at][0]);
      handle.setAttribute('cy', points[at][1]);
      handle.setAttribute('aria-label', `Point ${at + 1} of ${points.length}, ${this.#drawing.name(this.#ring())}`);
      handle.classList.toggle('chosen', at === this.#point);
    });
  }

  // Figures and faults.
  #tell() {
    const faults = this.#drawing.faults();
    const size = 9 * this.#unit();
    this.crosses.replaceChildren(...faults.filter((fault) => fault.at).map(({ at: [x, y] }) =>
      draw('path', { d: `M${x - size} ${y - size}L${x + size} ${y + size}M${x + size} ${y - size}L${x - size} ${y + size}` })));
    this.faultWords.replaceChildren(...faults.map((fault) => make('p', { className: 'fault', textContent: fault.words })));
    const figures = faults.length > 0 ? null : this.#drawing.figures();
    this.live.replaceChildren(...(figures ? lines(figures) : []).map(([label, words]) =>
      make('div', {}, make('dt', { textContent: label }), make('dd', { textContent: words }))));
    this.undoButton.disabled = !this.#drawing.canUndo;
    this.redoButton.disabled = !this.#drawing.canRedo;
    const kinds = this.#drawing.rings.map((ring) => ring.kind);
    for (const button of this.newButtons) button.disabled = button.kind === 'redness' ? kinds.includes('redness') || !kinds.includes('edge') : button.kind === 'island' && !kinds.includes('edge');
    clearTimeout(this.#said);
    this.#said = setTimeout(() => { this.status.textContent = figures ? lines(figures).map((pair) => pair.join(' ')).join(', ') : ''; }, 900);
  }

  #chosen(at) {
    this.#point = at;
    [...this.handles.children].forEach((handle, place) => handle.classList.toggle('chosen', place === at));
  }

  #focus(at) {
    this.#point = at;
    this.handles.children[at]?.focus({ preventScroll: true });
  }

  // --- changing it

  #add(at) {
    if (!this.#ring()) return;
    this.#point = Math.min(this.#point, this.#ring().points.length - 1);
    this.#point = this.#drawing.insert(this.#active, at?.after ?? this.#point, at?.place);
    this.#render();
    this.#focus(this.#point);
  }

  #remove() {
    if (!this.#ring()) return;
    if (!this.#drawing.remove(this.#active, Math.min(this.#point, this.#ring().points.length - 1))) {
      this.faultWords.replaceChildren(make('p', { className: 'fault', textContent: 'Three points are the fewest. “Remove this line” takes the whole line away.' }));
      return;
    }
    this.#render();
    this.#focus(this.#point % this.#ring().points.length);
  }

  #removeRing() {
    if (!this.#ring()) return;
    this.#drawing.removeRing(this.#active);
    this.#point = 0;
    this.#render();
  }

  #newRing(kind, radius) {
    const [x, y, w, h] = this.#view;
    const edge = this.#drawing.rings.find((ring) => ring.kind === 'edge');
    const middle = kind === 'redness' || kind === 'island' ? centre(edge.points) : [x + w / 2, y + h / 2];
    // A redness edge begins clear of the wound.
    const wide = kind === 'redness' ? Math.max(...this.#drawing.figures() ? [this.#drawing.figures().length / 2 + 8] : [radius]) : radius;
    this.#active = this.#drawing.addRing(kind, middle, wide);
    this.#point = 0;
    this.#render();
    this.#focus(0);
  }

  #back() { this.#drawing.undo(); this.#render(); }
  #forth() { this.#drawing.redo(); this.#render(); }

  // --- pointers

  #place(event) {
    const to = this.#svg.getScreenCTM().inverse();
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(to);
    return [x, y];
  }

  #listen() {
    this.rings.addEventListener('change', () => { this.#active = Number(this.rings.value); this.#point = 0; this.#render(); });
    this.#svg.addEventListener('pointerdown', (event) => this.#down(event));
    this.#svg.addEventListener('pointermove', (event) => this.#move(event));
    for (const end of ['pointerup', 'pointercancel']) this.#svg.addEventListener(end, (event) => this.#up(event));
    this.#svg.addEventListener('wheel', (event) => { event.preventDefault(); this.#zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, this.#place(event)); }, { passive: false });
    this.#dialog.addEventListener('keydown', (event) => this.#key(event));
    this.#dialog.addEventListener('cancel', (event) => { event.preventDefault(); this.#leave(); });
    this.resized = () => this.#render();
    addEventListener('resize', this.resized);
    this.leaving = (event) => { if (this.#drawing.isChanged) event.preventDefault(); };
    addEventListener('beforeunload', this.leaving);
    this.sending = (event) => this.#send(event);
    this.#form.addEventListener('submit', this.sending);
  }

  #down(event) {
    if (event.button > 0) return;
    const at = this.#place(event);
    this.#pointers.set(event.pointerId, at);
    this.#svg.setPointerCapture(event.pointerId);
    if (this.#pointers.size === 2) {
      // Two fingers enlarge; what the first one began to pull goes back.
      if (this.#held?.kind === 'point' && this.#held.moved) this.#back();
      this.#held = null;
      this.#loupe.hide();
      this.#pinch = { view: this.#view, from: [...this.#pointers.values()] };
      return;
    }
    event.preventDefault();
    const near = (NEAR_PX[event.pointerType] ?? NEAR_PX.mouse) * this.#unit();
    const from = [event.clientX, event.clientY];
    const points = this.#ring()?.points ?? [];
    const far = points.map((point) => Math.hypot(point[0] - at[0], point[1] - at[1]));
    const point = far.indexOf(Math.min(...far));
    if (point >= 0 && far[point] <= near) {
      this.#focus(point);
      this.#held = { kind: 'point', point, offset: [points[point][0] - at[0], points[point][1] - at[1]], from, moved: false };
      return;
    }
    const side = points.length > 0 ? nearestSide(points, at) : { far: Infinity };
    if (side.far <= near) {
      this.#add(side);
      this.#held = { kind: 'point', point: this.#point, offset: [side.place[0] - at[0], side.place[1] - at[1]], from, moved: true };
      return;
    }
    const other = this.#drawing.rings.findIndex((ring, place) => place !== this.#active && nearestSide(this.#drawing.counted(ring), at).far <= near);
    if (other >= 0) {
      this.#active = other;
      this.#point = 0;
      this.#render();
    }
    this.#held = { kind: 'view', from, view: this.#view, moved: false };
  }

  #move(event) {
    if (!this.#pointers.has(event.pointerId)) return;
    if (!this.#pinch) this.#pointers.set(event.pointerId, this.#place(event));
    if (this.#pinch) return this.#pinched(event);
    const held = this.#held;
    if (!held) return;
    const gone = [event.clientX - held.from[0], event.clientY - held.from[1]];
    if (!held.moved && Math.hypot(...gone) < MOVED_PX) return;
    if (held.kind === 'view') {
      held.moved = true;
      const unit = this.#unit();
      this.#show([held.view[0] - gone[0] * unit, held.view[1] - gone[1] * unit, held.view[2], held.view[3]]);
      return;
    }
    if (!held.moved) this.#drawing.grab(this.#active);
    held.moved = true;
    const at = this.#place(event);
    this.#drawing.place(this.#active, held.point, [at[0] + held.offset[0], at[1] + held.offset[1]]);
    this.#redraw();
    this.#tell();
    if (event.pointerType !== 'mouse') this.#loupe.show(this.#ring().points, held.point, this.#unit(), [event.clientX, event.clientY], this.#svg);
  }

  #up(event) {
    this.#pointers.delete(event.pointerId);
    this.#loupe.hide();
    if (this.#pointers.size === 0) { this.#held = null; this.#pinch = null; }
  }

  #pinched(event) {
    const { view, from } = this.#pinch;
    this.#view = view;
    this.#svg.setAttribute('viewBox', view.join(' '));
    this.#pointers.set(event.pointerId, this.#place(event));
    const now = [...this.#pointers.values()];
    const spread = ([a, b]) => Math.max(1, Math.hypot(a[0] - b[0], a[1] - b[1]));
    const by = spread(now) / spread(from);
    const [wasX, wasY] = centre(from);
    const [isX, isY] = centre(now);
    const [w, h] = [view[2] / by, view[3] / by];
    this.#show([wasX - ((isX - view[0]) / view[2]) * w, wasY - ((isY - view[1]) / view[3]) * h, w, h]);
  }

  // --- the view

  #aroundTheWound() {
    const points = this.#drawing.rings.flatMap((ring) => this.#drawing.counted(ring));
    const { width, height } = this.#drawing;
    if (points.length === 0) return [0, 0, width, height];
    const [left, right] = [Math.min, Math.max].map((pick) => pick(...points.map((point) => point[0])));
    const [top, bottom] = [Math.min, Math.max].map((pick) => pick(...points.map((point) => point[1])));
    const margin = 0.25 * Math.max(right - left, bottom - top) + 20;
    return [left - margin, top - margin, right - left + 2 * margin, bottom - top + 2 * margin];
  }

  #zoom(by, middle) {
    const [x, y, w, h] = this.#view;
    const [mx, my] = middle ?? (this.#ring() ? this.#ring().points[this.#point % this.#ring().points.length] : [x + w / 2, y + h / 2]);
    this.#show([mx - (mx - x) / by, my - (my - y) / by, w / by, h / by]);
  }

  #show([x, y, w, h]) {
    const { width, height } = this.#drawing;
    if (w < width / 40 || w > 2.5 * width) return;
    const inside = (at, size, most) => Math.min(most - size * 0.1, Math.max(-size * 0.9, at));
    this.#view = [inside(x, w, width), inside(y, h, height), w, h];
    this.#svg.setAttribute('viewBox', this.#view.join(' '));
    const radius = 6 * this.#unit();
    for (const handle of this.handles.children) handle.setAttribute('r', radius);
  }

  // --- keys

  #key(event) {
    const typing = /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName);
    // The page's own keys wait until the desk is closed.
    event.stopPropagation();
    if ((event.ctrlKey || event.metaKey) && !typing && ['z', 'Z', 'y'].includes(event.key)) {
      event.preventDefault();
      return event.key === 'z' ? this.#back() : this.#forth();
    }
    if (event.ctrlKey || event.metaKey || event.altKey || typing) return;
    const onPoint = event.target.matches?.('[data-point]');
    const step = STEPS[event.key];
    if (onPoint && step) {
      const far = event.shiftKey ? 10 : 1;
      this.#drawing.nudge(this.#active, this.#point, step.map((one) => one * far), event.timeStamp);
      this.#redraw();
      this.#tell();
    } else if (onPoint && ['Insert', 'a'].includes(event.key)) this.#add();
    else if (onPoint && ['Delete', 'Backspace'].includes(event.key)) this.#remove();
    else if (onPoint && event.key === 'Escape') this.rings.focus();
    else if (['+', '='].includes(event.key)) this.#zoom(1.5);
    else if (event.key === '-') this.#zoom(1 / 1.5);
    else return;
    event.preventDefault();
  }

  // --- leaving

  #leave() {
    if (this.#drawing.isChanged && !confirm('Close without saving what you drew?')) return;
    this.#close();
  }

  #close() {
    this.#form.removeEventListener('submit', this.sending);
    removeEventListener('resize', this.resized);
    removeEventListener('beforeunload', this.leaving);
    this.#form.classList.remove('on-desk');
    this.#home.replaceWith(this.#form);
    this.#dialog.remove();
    this.#opener.focus();
  }

  async #send(event) {
    event.preventDefault();
    if (this.#drawing.faults().length > 0) return this.faultWords.scrollIntoView({ block: 'nearest' });
    this.#form.elements.rings.value = JSON.stringify(this.#drawing.toSend());
    const button = this.#form.querySelector('button');
    button.disabled = true;
    const say = (words) => {
      this.faultWords.replaceChildren(...words.map((line) => make('p', { className: 'fault', textContent: line })));
      this.faultWords.scrollIntoView({ block: 'nearest' });
    };
    try {
      const answer = await fetch(this.#form.action, { method: 'POST', body: new URLSearchParams(new FormData(this.#form)) });
      const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
      const faults = [...page.querySelectorAll('.outline-faults .fault')].map((fault) => fault.textContent.trim());
      if (answer.ok && faults.length === 0) {
        this.#close();
        document.dispatchEvent(new CustomEvent('measured', { detail: page }));
      } else say(faults.length > 0 ? faults : ['Not saved. What you drew is still here: press Save again, or sign in in another tab first.']);
    } catch {
      say(['Not saved: the server could not be reached. What you drew is still here; press Save again.']);
    }
    button.disabled = false;
  }
}

const centre = (points) => [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length);

const mm = (value) => `${value < 10 ? value.toFixed(1) : Math.round(value)} mm`;

function lines({ area, perimeter, length, width, redness }) {
  const all = [
    ['Area', area < 100 ? `${Math.round(area)} mm²` : `${(area / 100).toFixed(1)} cm²`],
    ['Length × width', `${mm(length)} × ${mm(width)}`],
    ['Edge around', mm(perimeter)],
  ];
  if (redness) all.push(['Redness beyond the edge', `${mm(redness.p95)}, at most ${mm(redness.max)}`]);
  return all;
}

/** Opens the desk for one photo's form. `opener` gets the focus back. */
export const openDesk = (form, opener) => new Desk(form, opener);
