// Timers for taking the strip out: each step with a waiting time gets a button that counts down.

const help = document.querySelector(".strip-help");
const { left, done, stop } = help.dataset;

for (const step of help.querySelectorAll("li[data-timer]")) {
  const row = Object.assign(document.createElement("div"), { className: "timer" });
  const button = Object.assign(document.createElement("button"), { type: "button", className: "press second", textContent: step.dataset.start });
  const shown = document.createElement("output");
  let timer = 0;
  const finish = (words) => {
    clearInterval(timer);
    timer = 0;
    shown.textContent = words;
    button.textContent = step.dataset.start;
  };
  button.addEventListener("click", () => {
    if (timer) return finish("");
    // By the clock, not by counted ticks: a phone that sleeps wakes up right.
    const until = Date.now() + Number(step.dataset.timer) * 60_000;
    const tick = () => {
      const seconds = Math.ceil((until - Date.now()) / 1000);
      if (seconds <= 0) {
        navigator.vibrate?.([400, 200, 400]);
        return finish(done);
      }
      shown.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")} ${left}`;
    };
    button.textContent = stop;
    timer = setInterval(tick, 1000);
    tick();
  });
  // Only the end is announced, not every second.
  shown.setAttribute("aria-live", "off");
  row.append(button, shown);
  step.append(row);
}
