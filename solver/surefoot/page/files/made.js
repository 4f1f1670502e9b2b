// Small elements.

export function made(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null) element.setAttribute(name, value);
  }
  element.append(...children);
  return element;
}

// A number that is typed: told beside it in words where it's none or out of its range; then what stood before stays.
export function numberField(label, { value, low, high, step, unit = "", onput }) {
  const input = made("input", { type: "number", step, min: low, max: high, "aria-label": `${label}${unit && `, ${unit}`}` });
  input.value = value;
  const told = made("p", { class: "wrong-told", hidden: true });
  const id = `told-${Math.random().toString(36).slice(2)}`;
  told.id = id;
  let before = value, typed = false;
  input.addEventListener("focus", () => {
    if (!input.classList.contains("wrong")) { before = input.valueAsNumber; typed = false; }
  });
  input.addEventListener("input", () => {
    const given = input.valueAsNumber;
    const wrong = !Number.isFinite(given) || given < low || given > high;
    input.classList.toggle("wrong", wrong);
    input.setAttribute("aria-invalid", wrong);
    told.hidden = !wrong;
    if (wrong && typed) onput(before);
    typed = !wrong;
    if (wrong) { told.textContent = `${label}: a number from ${low} to ${high}${unit && ` ${unit}`} is wanted.`; input.setAttribute("aria-describedby", id); }
    else { input.removeAttribute("aria-describedby"); onput(given); }
  });
  return { input, told };
}
