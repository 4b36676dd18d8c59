// Sending over a bad line: answers first, then photos; every retry is the same check; "sent" only by the server's word.

const WAITS_S = [1, 2, 4, 8, 16, 32, 60];

// The server has the last word on what can be tried again. 507: it takes no photos now, nor in a minute.
const NO_ROOM = 507;
const CAN_TRY_AGAIN = (status) => status !== NO_ROOM && (status === 0 || status === 408 || status === 429 || status >= 500);

export class Sending {
  #form; #bar; #say; #progress; #buttons; #words; #callNow; #told;
  #state = "fresh"; #dangerRunning = false; #dangerWanted = false; #wake = null; #skipPhotos = false; #answersIn = false; #count = null; #calling = false;

  constructor(form, bar, callNow) {
    this.#form = form;
    this.#bar = bar;
    this.#words = bar.dataset;
    this.#say = bar.querySelector(".sending-words");
    this.#progress = bar.querySelector("progress");
    this.#buttons = bar.querySelector(".sending-buttons");
    this.#callNow = callNow;
    this.#told = document.getElementById("told");
    document.addEventListener("click", (event) => {
      if (!event.target.closest("a[href^='tel:']")) return;
      this.#calling = true;
      setTimeout(() => { this.#calling = false; }, 3000);
    });
    addEventListener("online", () => this.#wake?.());
  }

  isUnsent() {
    // A call for help must never meet a question.
    return !this.#calling && ["typing", "sending", "stuck"].includes(this.#state);
  }

  // The page is left on purpose, by a post that takes the answers along.
  letGo() {
    this.#state = "fresh";
  }

  touched() {
    if (!["fresh", "fix", "typing"].includes(this.#state)) return;
    this.#state = "typing";
    this.#answersIn = false;
    const count = `${this.#answered()} ${this.#words.answered}`;
    // Said once; the count goes on in silence, or a screen reader would never stop.
    if (!this.#count?.isConnected) {
      this.#count = element("span", count);
      this.#count.setAttribute("aria-hidden", "true");
      this.#show("");
      this.#say.append(this.#count);
    }
    this.#count.textContent = count;
  }

  // How many of the questions everybody meets have an answer.
  #answered() {
    const asked = [...this.#form.querySelectorAll(".danger, .question:not(.branch, .optional)")].filter((field) => field.offsetParent);
    const has = (field) => [...field.querySelectorAll("input")].some((input) => (input.type === "text" ? input.value.trim() : input.checked));
    return `${asked.filter(has).length}/${asked.length}`;
  }

  // The tick alone, at once, with the same form key: a photo that fails must not hide it.
  async tellDanger() {
    this.#dangerWanted = true;
    if (this.#dangerRunning) return;
    this.#dangerRunning = true;
    for (let tries = 0; this.#dangerWanted && this.#state !== "sending"; ) {
      this.#told.textContent = this.#told.dataset.telling;
      this.#dangerWanted = false;
      const body = new URLSearchParams({ form_key: this.#form.elements.form_key.value, part: "danger" });
      for (const box of this.#form.querySelectorAll("input.tick:checked")) body.append("danger", box.value);
      const answer = await post(this.#form.dataset.answers, body);
      if (answer.json?.receipt) {
        this.#told.textContent = this.#told.dataset.told;
        tries = 0;
      } else {
        this.#told.textContent = this.#told.dataset.notTold;
        if (!CAN_TRY_AGAIN(answer.status)) break;
        this.#dangerWanted = true;
        await this.#pause(tries++, false);
      }
    }
    this.#dangerRunning = false;
  }

  async send(photos) {
    if (this.#state === "sending") return;
    this.#state = "sending";
    this.#skipPhotos = false;
    this.#answersIn = false;
    this.#setBusy(true);
    this.#show(this.#words.trying);
    const body = new URLSearchParams();
    for (const [name, value] of new FormData(this.#form)) if (typeof value === "string") body.append(name, value);
    body.set("photos_expected", String(photos.length));
    const answer = await this.#until(() => post(this.#form.dataset.answers, body), false);
    if (!answer.json?.receipt) return this.#giveUp(answer.status);
    this.#answersIn = true;
    if (answer.json.call_now) this.#callNow.hidden = false;
    await this.#sendPhotos(photos);
    if (answer.json.faults.length > 0) return this.#askAgain(answer.json);
    this.#state = "sent";
    location.assign(answer.json.sent_url);
  }

  async #sendPhotos(photos) {
    for (const [index, photo] of photos.entries()) {
      if (photo.done || this.#skipPhotos) continue;
      const line = `${this.#words.photo} ${index + 1} ${this.#words.of} ${photos.length}`;
      this.#show(line);
      const body = new FormData();
      body.append("form_key", this.#form.elements.form_key.value);
      body.append("position", String(index + 1));
      if (photo.tap) {
        body.append("tap_x", String(photo.tap.x));
        body.append("tap_y", String(photo.tap.y));
      }
      body.append("photo", await photo.copy(), "photo.jpg");
      const answer = await this.#until(() => upload(this.#form.dataset.photo, body, (part) => this.#move(part)), true);
      photo.done = true;
      if (answer.status === NO_ROOM && answer.json) this.#show(`${line}: ${answer.json.words.join(" ")}`);
      else if (!answer.json) this.#show(`${line}: ${this.#words.photoFailed}`);
    }
    this.#progress.hidden = true;
  }

  // Tries until the server answers with something final; waits longer each time, and shorter when the line is back.
  async #until(attempt, canSkip) {
    for (let tries = 0; ; tries++) {
      const answer = await attempt();
      if (!CAN_TRY_AGAIN(answer.status)) return answer;
      if (canSkip && this.#skipPhotos) return answer;
      await this.#pause(tries, true, canSkip, answer.after);
      if (canSkip && this.#skipPhotos) return answer;
    }
  }

  // `after`: seconds the server asked for, where it is busy. Never sooner, and not everybody at once.
  async #pause(tries, visible, canSkip = false, after = 0) {
    const wait = Math.max(WAITS_S[Math.min(tries, WAITS_S.length - 1)], after) * (0.75 + Math.random() / 2) + after / 4;
    let left = Math.max(1, Math.round(wait));
    if (visible) this.#bar.classList.add("stuck");
    const buttons = visible ? [[this.#words.tryNow, () => this.#wake?.()]] : [];
    if (canSkip) buttons.push([this.#words.without, () => { this.#skipPhotos = true; this.#wake?.(); }]);
    if (visible) this.#setButtons(buttons);
    if (visible) this.#show(this.#words.noLine);
    await new Promise((done) => {
      const count = document.createElement("span");
      count.className = "small";
      count.setAttribute("aria-hidden", "true");
      if (visible) this.#say.append(" ", count);
      const tick = () => {
        count.textContent = `${this.#words.nextTry} ${left}`;
        if (left-- <= 0) this.#wake();
      };
      const timer = setInterval(tick, 1000);
      this.#wake = () => { clearInterval(timer); this.#wake = null; done(); };
      tick();
    });
    if (visible) {
      this.#bar.classList.remove("stuck");
      this.#setButtons([]);
      this.#show(this.#words.trying);
    }
  }

  #giveUp(status) {
    this.#state = "stuck";
    this.#setBusy(false);
    this.#bar.classList.add("stuck");
    this.#show([401, 403, 404, 410].includes(status) ? this.#words.linkEnded : this.#words.failed);
  }

  // The check is in; these values were unclear. The next press is an amendment of the same check.
  #askAgain(answer) {
    this.#state = "fix";
    this.#setBusy(false);
    const box = document.getElementById("send-faults");
    box.replaceChildren();
    const heading = document.createElement("p");
    heading.append(element("strong", this.#words.haveIt));
    const list = document.createElement("ul");
    for (const fault of answer.faults) {
      const field = this.#form.querySelector(`#q-${fault.question}`);
      field?.classList.add("wrong", "open");
      field?.querySelector(".faults")?.replaceChildren(Object.assign(element("p", fault.message), { className: "fault" }));
      if (fault.field === "temp") this.#form.querySelector("#q-temp_again")?.classList.add("open");
      if (fault.field === "sugar_unit") this.#askUnit();
      const link = element("a", fault.message);
      link.href = `#q-${fault.question}`;
      const item = document.createElement("li");
      item.append(link);
      list.append(item);
    }
    const leave = element("a", this.#words.leave);
    leave.href = answer.sent_url;
    const last = document.createElement("p");
    last.append(element("b", answer.receipt), " · ", leave);
    box.className = "faults summary";
    box.append(heading, list, last);
    document.getElementById("send").textContent = this.#words.fix;
    this.#bar.hidden = true;
    box.focus();
    box.scrollIntoView({ block: "center" });
  }

  // The unit is asked for under its own name, so that the first choice stays on record.
  #askUnit() {
    for (const radio of this.#form.querySelectorAll("input[name=sugar_unit]")) {
      radio.name = "sugar_unit_checked";
      radio.checked = false;
    }
  }

  #setBusy(busy) {
    document.getElementById("send").disabled = busy;
  }

  #show(text) {
    this.#bar.hidden = false;
    const mark = this.#answersIn ? this.#words.answersIn : `${this.#words.notSent} ·`;
    this.#say.replaceChildren(element("b", mark), " ", text);
  }

  #move(part) {
    this.#progress.hidden = false;
    this.#progress.value = Math.round(part * 100);
  }

  #setButtons(buttons) {
    this.#buttons.replaceChildren(...buttons.map(([words, act]) => {
      const button = Object.assign(element("button", words), { type: "button" });
      button.addEventListener("click", act);
      return button;
    }));
  }
}

function element(name, text) {
  return Object.assign(document.createElement(name), { textContent: text });
}

// A minute at most: the line says when it is tried again.
function seconds(header) {
  return Math.min(Math.max(Number(header) || 0, 0), 60);
}

async function post(url, body) {
  try {
    const response = await fetch(url, { method: "POST", body, headers: { accept: "application/json" }, signal: AbortSignal.timeout?.(30_000) });
    return { status: response.status, json: await response.json().catch(() => null), after: seconds(response.headers.get("retry-after")) };
  } catch {
    return { status: 0, json: null };
  }
}

// One photo, with how far it is. A line that stands still for a minute counts as lost.
function upload(url, body, moved) {
  return new Promise((done) => {
    const request = new XMLHttpRequest();
    let watch = 0;
    const alive = () => {
      clearTimeout(watch);
      watch = setTimeout(() => request.abort(), 60_000);
    };
    const end = (answer) => { clearTimeout(watch); done(answer); };
    request.open("POST", url);
    request.setRequestHeader("accept", "application/json");
    request.responseType = "json";
    request.upload.onprogress = (event) => { alive(); if (event.lengthComputable) moved(event.loaded / event.total); };
    request.onload = () => end({ status: request.status, json: request.response, after: seconds(request.getResponseHeader("retry-after")) });
    request.onerror = request.onabort = () => end({ status: 0, json: null });
    alive();
    request.send(body);
  });
}
