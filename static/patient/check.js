// The wound check with scripts: danger goes first, photos are shrunk, and nothing is called sent before the receipt.
// Without this file the same form works as one plain post.

import { watchBranches } from "./branches.js";
import { PhotoDesk } from "./photos.js";
import { Sending } from "./sending.js";

const form = document.getElementById("check");
const sending = new Sending(form, document.getElementById("sending"), document.getElementById("call-now"));
const desk = new PhotoDesk(form, document.getElementById("photo-desk"));

form.classList.add("scripted");
document.body.classList.add("scripted-page");
watchBranches(form);

// "None of these" and the signs rule each other out; the last tap wins.
const danger = document.getElementById("q-danger");
danger.addEventListener("change", (event) => {
  const box = event.target;
  if (box.checked) {
    const calm = box.classList.contains("calm");
    for (const other of danger.querySelectorAll("input")) {
      if (other !== box && (calm || other.classList.contains("calm"))) other.checked = false;
    }
  }
  if (box.classList.contains("tick") && box.checked) sending.tellDanger();
});

form.addEventListener("input", () => sending.touched());
form.addEventListener("change", () => sending.touched());

// Enter in a text field must not send half a check.
form.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && event.target.matches("input[type=text]")) event.preventDefault();
});

form.addEventListener("submit", (event) => {
  // Changing the language is a plain post that brings the answers along; photos must be chosen again.
  if (event.submitter?.hasAttribute("formaction")) {
    sending.letGo();
    return;
  }
  event.preventDefault();
  sending.send(desk.photos());
});

addEventListener("beforeunload", (event) => {
  if (!sending.isUnsent()) return;
  event.preventDefault();
  event.returnValue = "";
});
