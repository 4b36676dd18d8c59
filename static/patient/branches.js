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

// Whole mg/dL, rounded once; null where the number does not go with its unit, or could be of either. The same limits as
// on the server: see `readings::meter`.
function milligrams(form, value) {
  const chosen = (name) => form.querySelector(`input[name=${name}]:checked`)?.value;
  const checked = chosen("sugar_unit_checked");
  let unit = checked ?? chosen("sugar_unit");
  if (!checked && unit === "mg_dl" && value < 34) return null;
  if (!checked && unit === "mmol_l" && value > 33.3) return null;
  if (!unit && value >= 20 && value <= 33.3) return null;
  unit ??= value < 20 ? "mmol_l" : "mg_dl";
  const [lowest, highest] = unit === "mg_dl" ? [20, 600] : [1.1, 33.3];
  if (value < lowest || value > highest) return null;
  return Math.round(unit === "mmol_l" ? value * 18.0156 : value);
}

export function watchBranches(form) {
  const limits = {
    fever: Number(form.dataset.feverTenthsC),
    low: Number(form.dataset.sugarLowMgDl),
    veryLow: Number(form.dataset.sugarVeryLowMgDl),
    high: Number(form.dataset.sugarHighMgDl),
  };
  const look = () => {
    const temp = number(form.elements["a-temp"]?.value ?? "");
    const tenths = temp === null ? null : tenthsCelsius(temp);
    form.classList.toggle("no-fever", tenths !== null && tenths < limits.fever);
    const typed = number(form.elements["a-sugar"]?.value ?? "");
    const sugar = typed === null ? null : milligrams(form, typed);
    form.classList.toggle("no-high-sugar", sugar !== null && sugar <= limits.high);
    form.classList.toggle("low-sugar", sugar !== null && sugar < limits.low && sugar >= limits.veryLow);
    form.classList.toggle("very-low-sugar", sugar !== null && sugar < limits.veryLow);
    form.classList.toggle("unclear-sugar", typed !== null && sugar === null && typed < limits.low);
    form.classList.toggle("no-loose-stools", number(form.elements["a-loose_stools"]?.value ?? "") === 0);
  };
  form.addEventListener("input", look);
  form.addEventListener("change", look);
  // A number and the box beside it rule each other out; the last one wins.
  for (const field of form.querySelectorAll(".question input[type=text]")) {
    const boxes = [...form.querySelectorAll(`input[type=checkbox][name=${field.name}]`)];
    field.addEventListener("input", () => boxes.forEach((box) => { if (field.value.trim()) box.checked = false; }));
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
