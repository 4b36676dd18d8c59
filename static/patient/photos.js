// Photos one by one: a preview, a tap on the middle of the wound, and a smaller copy to send.

// Long side of the copy that is sent; the picture is judged at less than this.
const LONGEST_SIDE_PX = 2560;
const JPEG_QUALITY = 0.9;
// One arrow key moves the mark by this much of the picture, in 1/10,000.
const ARROW_STEP = 200;

export class PhotoDesk {
  #desk; #words; #most; #cards = []; #add; #input;

  constructor(form, desk) {
    this.#desk = desk;
    this.#words = desk.dataset;
    this.#most = Number(form.dataset.mostPhotos);
    // The plain fields give way; photos chosen before the script came are taken over.
    const plain = [...form.querySelectorAll(".plain-photos input[type=file]")];
    const early = plain.flatMap((field) => [...field.files]);
    plain.forEach((field) => field.remove());
    this.#buildAdd(plain[0]?.accept ?? "image/*");
    desk.hidden = false;
    early.forEach((file) => this.#take(file));
  }

  photos() {
    return this.#cards;
  }

  #buildAdd(accept) {
    this.#input = Object.assign(document.createElement("input"), { type: "file", accept, multiple: true, id: "add-photo", className: "under" });
    this.#add = Object.assign(document.createElement("label"), { htmlFor: "add-photo", className: "press second wide add-photo", textContent: this.#words.add });
    this.#input.addEventListener("change", () => {
      [...this.#input.files].forEach((file) => this.#take(file));
      this.#input.value = "";
    });
    this.#desk.append(this.#input, this.#add);
  }

  #refresh() {
    const full = this.#cards.length >= this.#most;
    this.#input.disabled = full;
    this.#add.classList.toggle("off", full);
    this.#add.textContent = full ? this.#words.six : this.#cards.length ? this.#words.another : this.#words.add;
    this.#cards.forEach((card, index) => { card.name.textContent = `${this.#words.photo} ${index + 1}`; });
  }

  #take(file) {
    // The same picture chosen twice is one photo.
    const print = `${file.name} ${file.size} ${file.lastModified}`;
    if (this.#cards.length >= this.#most || this.#cards.some((card) => card.print === print)) return;
    const card = { print, tap: null, done: false, copy: () => shrink(file) };
    this.#show(card, file);
    this.#cards.push(card);
    this.#refresh();
  }

  #show(card, file) {
    const figure = Object.assign(document.createElement("figure"), { className: "photo-card" });
    const frame = Object.assign(document.createElement("button"), { type: "button", className: "frame" });
    const picture = Object.assign(document.createElement("img"), { alt: "", src: URL.createObjectURL(file) });
    const spot = Object.assign(document.createElement("span"), { className: "spot", hidden: true });
    const caption = document.createElement("figcaption");
    card.name = document.createElement("strong");
    const hint = Object.assign(document.createElement("span"), { textContent: this.#words.tap });
    hint.setAttribute("aria-live", "polite");
    const remove = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: this.#words.remove });
    frame.setAttribute("aria-label", `${this.#words.tap} ${this.#words.arrows}`);
    const mark = (x, y) => {
      card.tap = { x: clamp(x), y: clamp(y) };
      spot.hidden = false;
      const place = placeOf(picture, frame);
      spot.style.left = `${place.left + (card.tap.x / 10000) * place.width}px`;
      spot.style.top = `${place.top + (card.tap.y / 10000) * place.height}px`;
      hint.textContent = this.#words.tapped;
    };
    frame.addEventListener("click", (event) => {
      if (event.detail === 0) return mark(card.tap?.x ?? 5000, card.tap?.y ?? 5000);
      const place = placeOf(picture, frame);
      const box = frame.getBoundingClientRect();
      mark(((event.clientX - box.left - place.left) / place.width) * 10000, ((event.clientY - box.top - place.top) / place.height) * 10000);
    });
    frame.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!step) return;
      event.preventDefault();
      const from = card.tap ?? { x: 5000, y: 5000 };
      mark(from.x + step[0] * ARROW_STEP, from.y + step[1] * ARROW_STEP);
    });
    addEventListener("resize", () => { if (card.tap) mark(card.tap.x, card.tap.y); });
    picture.addEventListener("error", () => {
      frame.remove();
      hint.textContent = this.#words.noPreview;
    });
    remove.addEventListener("click", () => {
      URL.revokeObjectURL(picture.src);
      figure.remove();
      this.#cards = this.#cards.filter((other) => other !== card);
      this.#refresh();
      this.#input.focus();
    });
    frame.append(picture, spot);
    caption.append(card.name, remove, hint);
    figure.append(frame, caption);
    this.#desk.insertBefore(figure, this.#input);
  }
}

const clamp = (value) => Math.min(10000, Math.max(0, Math.round(value)));

// Where the picture itself lies within its frame: it may leave bars at its sides.
function placeOf(picture, frame) {
  const { naturalWidth, naturalHeight } = picture;
  const width = frame.clientWidth;
  const height = frame.clientHeight;
  if (!naturalWidth || !naturalHeight) return { left: 0, top: 0, width, height };
  const scale = Math.min(width / naturalWidth, height / naturalHeight);
  const shown = { width: naturalWidth * scale, height: naturalHeight * scale };
  return { left: (width - shown.width) / 2, top: (height - shown.height) / 2, ...shown };
}

// A copy of at most 2,560 px, turned upright by the browser; the original when anything goes wrong or is smaller.
async function shrink(file) {
  try {
    const bitmap = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST_SIDE_PX / Math.max(bitmap.width, bitmap.height));
    if (scale === 1 && file.type === "image/jpeg" && file.size < 3_000_000) return file;
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(bitmap.width * scale);
    canvas.height = Math.round(bitmap.height * scale);
    canvas.getContext("2d").drawImage(bitmap, 0, 0, canvas.width, canvas.height);
    bitmap.close();
    const copy = await new Promise((done) => canvas.toBlob(done, "image/jpeg", JPEG_QUALITY));
    return copy && copy.size < file.size ? copy : file;
  } catch {
    return file;
  }
}
