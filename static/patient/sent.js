// *Sent* with scripts: reads itself again until the photos were looked at, and sends one more photo with the middle of the
// wound tapped. Without this file a link and a plain form do the same.

import { PhotoDesk } from "./photos.js";

// How long to wait before each look, s.
const LOOKS_S = [2, 3, 5, 8, 15, 30];

const pause = (seconds) => new Promise((done) => setTimeout(done, seconds * 1000));
const waits = () => document.querySelector("#photos-part[data-not-yet]");
// A person who is choosing a photo must not lose it to a fresh page.
const isChoosing = () => document.querySelector("#photo-desk .photo-card") !== null;

async function lookAgain() {
  for (const seconds of LOOKS_S) {
    await pause(seconds);
    if (!waits() || isChoosing()) return;
    try {
      const answer = await fetch(location.href, { headers: { accept: "text/html" } });
      if (!answer.ok) continue;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("photos-part");
      if (!fresh || !waits() || isChoosing()) return;
      const isOpen = document.querySelector("#photos-part details")?.open;
      waits().replaceWith(fresh);
      if (isOpen) fresh.querySelector("details")?.setAttribute("open", "");
      begin();
    } catch {
      // The line is gone: the next look tries again.
    }
  }
}

function begin() {
  const form = document.getElementById("one-more");
  if (!form) return;
  const desk = new PhotoDesk(form, document.getElementById("photo-desk"));
  form.classList.add("scripted");
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    send(form, desk.photos());
  });
}

// Why a photo was not taken, in the server's words; empty: it gave none.
async function said(answer) {
  const json = await answer.json().catch(() => null);
  return json?.words?.join(" ") ?? "";
}

async function send(form, photos) {
  const told = document.getElementById("one-more-told");
  const button = form.querySelector("button:not([type])");
  if (photos.length === 0) return document.getElementById("add-photo").focus();
  button.disabled = true;
  told.textContent = form.dataset.sending;
  for (const [index, photo] of photos.entries()) {
    if (photo.done) continue;
    const body = new FormData();
    body.append("form_key", form.elements.form_key.value);
    body.append("position", String(Number(form.dataset.first) + index));
    if (photo.tap) {
      body.append("tap_x", String(photo.tap.x));
      body.append("tap_y", String(photo.tap.y));
    }
    body.append("photo", await photo.copy(), "photo.jpg");
    try {
      const answer = await fetch(form.action, { method: "POST", body, headers: { accept: "application/json" } });
      photo.done = answer.ok;
      if (!answer.ok) told.textContent = ([503, 507].includes(answer.status) && (await said(answer))) || form.dataset.failed;
    } catch {
      told.textContent = form.dataset.noLine;
    }
    if (!photo.done) {
      button.disabled = false;
      return;
    }
  }
  location.reload();
}

begin();
lookAgain();
