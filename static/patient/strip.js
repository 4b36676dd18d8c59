// Counts down to the time the practice's clock named. By the clock and not by counted ticks: a phone that sleeps wakes up
// right. Without this the page says the clock time.

const timer = document.querySelector(".timer[data-left-s]");
const shown = timer.querySelector("output");
const { left, done } = timer.dataset;
const until = Date.now() + Number(timer.dataset.leftS) * 1000;
let ticking = 0;

function tick() {
  const seconds = Math.ceil((until - Date.now()) / 1000);
  shown.hidden = false;
  if (seconds > 0) {
    shown.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")} ${left}`;
    return;
  }
  clearInterval(ticking);
  // Only the end is announced, not every second.
  shown.setAttribute("aria-live", "polite");
  shown.textContent = done;
  navigator.vibrate?.([400, 200, 400]);
}

shown.setAttribute("aria-live", "off");
ticking = setInterval(tick, 1000);
tick();

// A page that comes back from the browser's memory asks the practice's clock again.
addEventListener("pageshow", (event) => {
  if (event.persisted) location.reload();
});
