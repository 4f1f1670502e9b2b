// A canvas as paper: sized to the screen's pixels, with the page's inks at hand.

// Sizes are kept and looked up again when they change: asking the browser for them would lay the page out anew.
const sizes = new WeakMap();
const watch = new ResizeObserver((entries) => { for (const one of entries) sizes.delete(one.target); });

export function sizeOf(canvas) {
  if (!sizes.has(canvas)) {
    watch.observe(canvas);
    sizes.set(canvas, [canvas.clientWidth, canvas.clientHeight]);
  }
  return sizes.get(canvas);
}

export function paper(canvas) {
  const scale = window.devicePixelRatio || 1;
  const [width, height] = sizeOf(canvas);
  if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
  }
  const pen = canvas.getContext("2d", { willReadFrequently: true });  // kept off the graphics card: a few lines each
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  pen.clearRect(0, 0, width, height);
  pen.lineJoin = pen.lineCap = "round";
  return { pen, width, height };
}

// Tells whether a canvas shows just this already: the same values at the same size in the same inks. Text costs most.
const drawn = new WeakMap();
export function shows(canvas, values) {
  const all = [...sizeOf(canvas), window.devicePixelRatio, inks, ...values], before = drawn.get(canvas);
  drawn.set(canvas, all);
  return before?.length === all.length && all.every((value, i) => value === before[i]);
}

let inks = new Map();
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { inks = new Map(); });
export function ink(name) {
  if (!inks.has(name)) inks.set(name, getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim());
  return inks.get(name);
}

export function write(pen, text, x, y, { size = 11, align = "left", colour = ink("soft"), bold = false } = {}) {
  pen.font = `${bold ? "bold " : ""}${size}px Helvetica, Arial, "Liberation Sans", "DejaVu Sans", sans-serif`;
  pen.textAlign = align;
  pen.fillStyle = colour;
  pen.fillText(text, x, y);
}

export function path(pen, points, closed = false) {
  pen.beginPath();
  points.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
  if (closed) pen.closePath();
}
