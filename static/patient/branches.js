// Numbers that open a question: a style sheet can see what is ticked, but cannot read a number.
// The limits come with the page, from the same rules the server goes by.

function number(text) {
  const match = /^\s*(\d{1,4}(?:[.,]\d{1,3})?)\s*\D*$/.exec(text);
  return match ? Number(match[1].replace(",", ".")) : null;
}

function tenthsCelsius(value) {
  if (value >= 30 && value <= 45) return Math.round(value * 10);
  if (value >= 86 && value <= 113) return Math.round(((value - 32) * 50) / 9);
  return null;
}

function milligrams(form, value) {
  const unit = form.querySelector("input[name=sugar_unit]:checked")?.value;
  const millimoles = unit ? unit === "mmol_l" : value < 20;
  return Math.round(millimoles ? value * 18.0156 : value);
}

export function watchBranches(form) {
  const limits = {
    fever: Number(form.dataset.feverTenthsC),
    low: Number(form.dataset.sugarLowMgDl),
    high: Number(form.dataset.sugarHighMgDl),
  };
  const look = () => {
    const temp = number(form.elements["a-temp"]?.value ?? "");
    const tenths = temp === null ? null : tenthsCelsius(temp);
    form.classList.toggle("no-fever", tenths !== null && tenths < limits.fever);
    const typed = number(form.elements["a-sugar"]?.value ?? "");
    const sugar = typed === null ? null : milligrams(form, typed);
    form.classList.toggle("no-high-sugar", sugar !== null && sugar <= limits.high);
    form.classList.toggle("low-sugar", sugar !== null && sugar < limits.low);
  };
  form.addEventListener("input", look);
  form.addEventListener("change", look);
  // A number and the box beside it rule each other out; the last one wins.
  for (const name of ["temp", "sugar"]) {
    const field = form.querySelector(`#a-${name}`);
    const boxes = [...form.querySelectorAll(`input[type=checkbox][name=${name}]`)];
    field?.addEventListener("input", () => boxes.forEach((box) => { if (field.value.trim()) box.checked = false; }));
    for (const box of boxes) {
      box.addEventListener("change", () => {
        if (!box.checked) return;
        field.value = "";
        boxes.forEach((other) => { if (other !== box) other.checked = false; });
        look();
      });
    }
  }
  for (const box of form.querySelectorAll(".question .choice input[type=checkbox]")) {
    box.addEventListener("change", () => {
      if (!box.checked) return;
      const alone = ["none", "not_sure"].includes(box.value);
      for (const other of form.querySelectorAll(`.question input[type=checkbox][name=${box.name}]`)) {
        if (other !== box && (alone || ["none", "not_sure"].includes(other.value))) other.checked = false;
      }
    });
  }
  look();
}
