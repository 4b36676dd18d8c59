// What a ruler would find on a drawn edge: picture places become millimetres of skin through the card's plane.
// The server computes what is kept; this only follows the pointer. A ring is a list of [x, y], the last joined to the first.

// No wound is farther from its card than this, mm; the server draws the same line.
export const FARTHEST_MM = 1000;

// `matrix`: 3 × 3 by rows, homogeneous, from picture px to skin mm.
export function toMm(matrix, [x, y]) {
  const [u, v, w] = matrix.map((row) => row[0] * x + row[1] * y + row[2]);
  return [u / w, v / w];
}

export function inverse(m) {
  const cofactor = (r, c) => {
    const [r1, r2, c1, c2] = [(r + 1) % 3, (r + 2) % 3, (c + 1) % 3, (c + 2) % 3];
    return m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1];
  };
  const whole = m[0][0] * cofactor(0, 0) + m[0][1] * cofactor(0, 1) + m[0][2] * cofactor(0, 2);
  return [0, 1, 2].map((r) => [0, 1, 2].map((c) => cofactor(c, r) / whole));
}

const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
const sides = (ring) => ring.map((point, at) => [point, ring[(at + 1) % ring.length]]);
// Positive when c lies to one side of the line from a to b, negative on the other.
const turn = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);

export const ringLength = (ring) => sides(ring).reduce((sum, [a, b]) => sum + apart(a, b), 0);

// The shoelace formula; either direction.
export function ringArea(ring) {
  if (ring.length === 0) return 0;
  const [ox, oy] = ring[0];
  const twice = sides(ring).reduce((sum, [a, b]) => sum + (a[0] - ox) * (b[1] - oy) - (b[0] - ox) * (a[1] - oy), 0);
  return Math.abs(twice / 2);
}

// The longest length over all points, and the extent at right angles to it.
export function extent(points) {
  let [from, to, length] = [points[0], points[0], 0];
  for (let one = 0; one < points.length; one++) {
    for (let other = one + 1; other < points.length; other++) {
      const far = apart(points[one], points[other]);
      if (far > length) [from, to, length] = [points[one], points[other], far];
    }
  }
  if (length === 0) return { length: 0, width: 0 };
  const across = points.map((point) => turn(from, to, point) / length);
  return { length, width: Math.max(...across) - Math.min(...across) };
}

// The place nearest to `at` on a ring's sides: how far, after which point, and where.
export function nearestSide(ring, at) {
  let best = { far: Infinity, after: -1, place: at };
  sides(ring).forEach(([a, b], after) => {
    const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
    const squared = dx * dx + dy * dy;
    const along = squared > 0 ? Math.min(1, Math.max(0, ((at[0] - a[0]) * dx + (at[1] - a[1]) * dy) / squared)) : 0;
    const place = [a[0] + along * dx, a[1] + along * dy];
    const far = apart(at, place);
    if (far < best.far) best = { far, after, place };
  });
  return best;
}

export function holds(ring, [x, y]) {
  let inside = false;
  for (const [a, b] of sides(ring)) {
    if (a[1] > y !== b[1] > y && x < ((b[0] - a[0]) * (y - a[1])) / (b[1] - a[1]) + a[0]) inside = !inside;
  }
  return inside;
}

function meeting([a, b], [c, d]) {
  const [c0, d0, a0, b0] = [turn(a, b, c), turn(a, b, d), turn(c, d, a), turn(c, d, b)];
  if (c0 * d0 >= 0 || a0 * b0 >= 0) return null;
  const part = a0 / (a0 - b0);
  return [a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1])];
}

// Where a ring crosses itself first; null: nowhere.
export function crossing(ring) {
  const all = sides(ring);
  for (let one = 0; one < all.length; one++) {
    for (let other = one + 2; other < all.length; other++) {
      if (one === 0 && other === all.length - 1) continue;
      const place = meeting(all[one], all[other]);
      if (place) return place;
    }
  }
  return null;
}

// Where two rings cross; null: nowhere.
export function meets(ring, otherRing) {
  const others = sides(otherRing);
  for (const side of sides(ring)) {
    for (const other of others) {
      const place = meeting(side, other);
      if (place) return place;
    }
  }
  return null;
}

// Redness beyond the wound's edge: the farthest, and the 95th percentile along the redness edge walked in half
// millimetres. What lies inside the wound is no distance beyond it.
export function reach(redness, edges) {
  const beyond = [];
  for (const [a, b] of sides(redness)) {
    const steps = Math.max(1, Math.ceil(apart(a, b) / 0.5));
    for (let step = 0; step < steps; step++) {
      const at = [a[0] + ((b[0] - a[0]) * step) / steps, a[1] + ((b[1] - a[1]) * step) / steps];
      const inside = edges.some((edge) => holds(edge, at));
      beyond.push(inside ? 0 : Math.min(...edges.map((edge) => nearestSide(edge, at).far)));
    }
  }
  beyond.sort((a, b) => a - b);
  const place = 0.95 * (beyond.length - 1);
  const [low, high] = [beyond[Math.floor(place)], beyond[Math.ceil(place)]];
  return { max: beyond.at(-1), p95: low + (high - low) * (place - Math.floor(place)) };
}

// Which points to keep so that no point left out lies farther than `tolerance` from the ring that remains (Douglas and
// Peucker 1973, begun at the first point and the one farthest from it). At least three.
export function thinned(ring, tolerance) {
  if (ring.length <= 4) return ring.map((_, at) => at);
  const far = ring.reduce((best, point, at) => (apart(point, ring[0]) > apart(ring[best], ring[0]) ? at : best), 0);
  const kept = new Set([0, far]);
  const open = [[0, far], [far, ring.length]];
  while (open.length > 0) {
    const [from, to] = open.pop();
    const [a, b] = [ring[from], ring[to % ring.length]];
    let [worst, at] = [0, -1];
    for (let middle = from + 1; middle < to; middle++) {
      const off = nearestSide([a, b], ring[middle]).far;
      if (off > worst) [worst, at] = [off, middle];
    }
    if (at > 0 && (worst > tolerance || kept.size < 3)) {
      kept.add(at);
      open.push([from, at], [at, to]);
    }
  }
  return [...kept].sort((a, b) => a - b);
}

// All figures of a drawing: wound pieces with their islands, and the redness edge or null, in mm.
export function figures(pieces, redness) {
  const edges = pieces.map((piece) => piece.edge);
  if (edges.length === 0) return null;
  const islands = pieces.flatMap((piece) => piece.islands);
  const area = edges.reduce((sum, edge) => sum + ringArea(edge), 0) - islands.reduce((sum, ring) => sum + ringArea(ring), 0);
  return {
    area: Math.max(0, area),
    perimeter: edges.reduce((sum, edge) => sum + ringLength(edge), 0),
    ...extent(edges.flat()),
    redness: redness && redness.length >= 3 ? reach(redness, edges) : null,
  };
}
