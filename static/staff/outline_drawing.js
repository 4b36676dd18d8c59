// A drawing under a surgeon's hands: rings of picture places, what is wrong with them, and every step back and forth.
import { FARTHEST_MM, crossing, figures, holds, inverse, meets, ringArea, thinned, toMm } from './outline_geometry.js';

// Points left out for handling lie no farther from the line than this, mm: a fifth of what a hand trembles.
const THIN_MM = 0.2;
// Moves of one point with the keys within this time are one step back.
const ONE_MOVE_MS = 800;
const STEPS_KEPT = 200;

const NAMES = { edge: 'Wound edge', island: 'Skin island', redness: 'Redness edge' };

export class Drawing {
  // Each ring: kind (edge, island, redness), piece (which wound piece it belongs to), full (as it came), points (as it
  // is handled), isEdited. Until a ring is edited, what counts and is sent is the full one.
  rings = [];
  #past = [];
  #future = [];
  #last = { at: 0, ring: -1, point: -1 };

  constructor({ wound, redness }, matrix, [width, height]) {
    Object.assign(this, { matrix, back: inverse(matrix), width, height });
    wound.forEach((piece, at) => {
      this.#take('edge', at, piece.edge);
      (piece.islands ?? []).forEach((island) => this.#take('island', at, island));
    });
    if (redness) this.#take('redness', -1, redness);
  }

  #take(kind, piece, full) {
    if (full.length === 0) return;
    const mm = full.map((point) => toMm(this.matrix, point));
    this.rings.push({ kind, piece, full, points: thinned(mm, THIN_MM).map((at) => full[at]), isEdited: false });
  }

  counted = (ring) => (ring.isEdited ? ring.points : ring.full);

  name(ring) {
    const alike = this.rings.filter((other) => other.kind === ring.kind);
    return alike.length > 1 ? `${NAMES[ring.kind]} ${alike.indexOf(ring) + 1}` : NAMES[ring.kind];
  }

  get isChanged() { return this.#past.length > 0; }
  get canUndo() { return this.#past.length > 0; }
  get canRedo() { return this.#future.length > 0; }

  #remember() {
    this.#past.push(this.rings);
    if (this.#past.length > STEPS_KEPT) this.#past.shift();
    this.#future = [];
    this.rings = this.rings.map((ring) => ({ ...ring, points: [...ring.points] }));
    this.#last = { at: 0, ring: -1, point: -1 };
  }

  undo() {
    if (!this.canUndo) return;
    this.#future.push(this.rings);
    this.rings = this.#past.pop();
    this.#last.at = 0;
  }

  redo() {
    if (!this.canRedo) return;
    this.#past.push(this.rings);
    this.rings = this.#future.pop();
    this.#last.at = 0;
  }

  inFrame = ([x, y]) => [Math.min(this.width, Math.max(0, x)), Math.min(this.height, Math.max(0, y))].map((px) => Math.round(px * 10) / 10);

  // A pointer takes hold of a point: one step back for the whole drag.
  grab(ring) {
    this.#remember();
    this.rings[ring].isEdited = true;
  }

  place(ring, point, at) {
    this.rings[ring].points[point] = this.inFrame(at);
  }

  nudge(ring, point, [dx, dy], now) {
    const again = this.#last.ring === ring && this.#last.point === point && now - this.#last.at < ONE_MOVE_MS;
    if (!again) this.grab(ring);
    this.#last = { at: now, ring, point };
    const [x, y] = this.rings[ring].points[point];
    this.place(ring, point, [x + dx, y + dy]);
  }

  // A new point after `point`, at `at` or halfway to the next. Gives its number.
  insert(ring, point, at) {
    this.grab(ring);
    const points = this.rings[ring].points;
    const next = points[(point + 1) % points.length];
    points.splice(point + 1, 0, this.inFrame(at ?? [(points[point][0] + next[0]) / 2, (points[point][1] + next[1]) / 2]));
    return point + 1;
  }

  // False: three points are the fewest.
  remove(ring, point) {
    if (this.rings[ring].points.length <= 3) return false;
    this.grab(ring);
    this.rings[ring].points.splice(point, 1);
    return true;
  }

  // Takes a ring away; a wound piece takes its islands along.
  removeRing(ring) {
    this.#remember();
    const gone = this.rings[ring];
    this.rings = this.rings.filter((other, at) => at !== ring && !(gone.kind === 'edge' && other.kind === 'island' && other.piece === gone.piece));
  }

  // A new ring to pull into shape: a circle of skin around `middle` (px) with this radius in mm. Gives its number.
  addRing(kind, middle, radiusMm) {
    this.#remember();
    const [x, y] = toMm(this.matrix, middle);
    const count = kind === 'island' ? 8 : 16;
    const points = Array.from({ length: count }, (_, step) => {
      const turn = (step / count) * 2 * Math.PI;
      return this.inFrame(toMm(this.back, [x + radiusMm * Math.sin(turn), y - radiusMm * Math.cos(turn)]));
    });
    this.rings.push({ kind, piece: this.#pieceFor(kind, middle), full: points, points, isEdited: true });
    return this.rings.length - 1;
  }

  #pieceFor(kind, middle) {
    const edges = this.rings.filter((ring) => ring.kind === 'edge');
    if (kind === 'edge') return 1 + Math.max(-1, ...edges.map((ring) => ring.piece));
    if (kind === 'redness') return -1;
    return (edges.find((ring) => holds(ring.points, middle)) ?? edges[0])?.piece ?? 0;
  }

  // What must be put right before it can be kept: words, and where in the picture (null: nowhere).
  faults() {
    const found = [];
    const edges = this.rings.filter((ring) => ring.kind === 'edge');
    if (edges.length === 0) found.push({ words: 'There is no wound edge yet. Press “New wound edge”.', at: null });
    for (const ring of this.rings) {
      const points = this.counted(ring);
      const name = this.name(ring);
      const place = crossing(points);
      const far = points.find((point) => !toMm(this.matrix, point).every((mm) => Math.abs(mm) <= FARTHEST_MM));
      if (place) found.push({ words: `The ${name.toLowerCase()} crosses itself at the cross in the picture. Move a point there, or undo.`, at: place });
      else if (far) found.push({ words: `A point of the ${name.toLowerCase()} lies too far from the scale card. Move it closer.`, at: far });
      else if (ringArea(points) < 1) found.push({ words: `The ${name.toLowerCase()} encloses nothing. Pull its points apart, or remove it.`, at: points[0] });
    }
    edges.forEach((edge, at) => edges.slice(at + 1).forEach((other) => {
      const place = meets(this.counted(edge), this.counted(other));
      if (place) found.push({ words: 'Two wound edges cross each other at the cross in the picture. Pull them apart, or make them one.', at: place });
    }));
    for (const island of this.rings.filter((ring) => ring.kind === 'island')) {
      const edge = edges.find((ring) => ring.piece === island.piece);
      const outside = edge && this.counted(island).find((point) => !holds(this.counted(edge), point));
      if (outside) found.push({ words: 'A skin island lies outside its wound edge. Pull it inside, or remove it.', at: outside });
    }
    return found;
  }

  // In mm²/mm; null without a wound edge.
  figures() {
    const { wound, redness } = this.#counted((point) => toMm(this.matrix, point));
    return figures(wound, redness);
  }

  // As the form sends it: picture px.
  toSend() {
    return this.#counted((point) => point.map((px) => Math.round(px * 10) / 10));
  }

  #counted(as) {
    const of = (ring) => this.counted(ring).map(as);
    const edges = this.rings.filter((ring) => ring.kind === 'edge');
    const redness = this.rings.find((ring) => ring.kind === 'redness');
    return {
      wound: edges.map((edge) => ({
        edge: of(edge),
        islands: this.rings.filter((ring) => ring.kind === 'island' && ring.piece === edge.piece).map(of),
      })),
      redness: redness ? of(redness) : null,
    };
  }
}
