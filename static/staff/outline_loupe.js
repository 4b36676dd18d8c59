// What lies under a finger, shown large in the far corner of the photo while a point is dragged.

const SIDE_PX = 132;
const LARGER = 2.5;

export class Loupe {
  canvas = Object.assign(document.createElement('canvas'), { className: 'loupe', width: 2 * SIDE_PX, height: 2 * SIDE_PX, hidden: true });
  #picture;

  // `picture`: the photo as it stands on the page, in the size its points are counted in.
  constructor(picture) {
    this.canvas.setAttribute('aria-hidden', 'true');
    this.#picture = picture;
  }

  hide() {
    this.canvas.hidden = true;
  }

  // `unit`: picture px for one CSS px as shown; `finger`: where it presses, CSS px of the window.
  show(points, chosen, unit, [x, y], stage) {
    const box = stage.getBoundingClientRect();
    const isLeft = x < box.left + box.width / 2;
    this.canvas.hidden = false;
    this.canvas.classList.toggle('at-right', isLeft && y < box.top + SIDE_PX + 60);
    const pen = this.canvas.getContext('2d');
    const scale = (2 * LARGER) / unit;
    const side = this.canvas.width;
    const [px, py] = points[chosen];
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.fillStyle = '#191c1e';
    pen.fillRect(0, 0, side, side);
    pen.setTransform(scale, 0, 0, scale, side / 2 - px * scale, side / 2 - py * scale);
    if (this.#picture?.complete && this.#picture.naturalWidth > 0) pen.drawImage(this.#picture, 0, 0);
    pen.beginPath();
    points.forEach((point) => pen.lineTo(...point));
    pen.closePath();
    for (const [colour, width] of [['#000', 6], ['#fff', 3]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width / scale;
      pen.stroke();
    }
    pen.setTransform(1, 0, 0, 1, side / 2, side / 2);
    for (const [colour, width] of [['#000', 5], ['#fff', 2]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        pen.moveTo(dx * 8, dy * 8);
        pen.lineTo(dx * 30, dy * 30);
      }
      pen.stroke();
    }
  }
}
