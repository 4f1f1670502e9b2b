// A canvas as paper: sized to the screen's pixels, with the page's inks at hand.

export function paper(canvas) {
  const scale = window.devicePixelRatio || 1;
  const width = canvas.clientWidth, height = canvas.clientHeight;
  if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  pen.clearRect(0, 0, width, height);
  pen.lineJoin = pen.lineCap = "round";
  return { pen, width, height };
}

let inks = null;
export function ink(name) {
  if (inks === null) inks = getComputedStyle(document.documentElement);
  return inks.getPropertyValue(`--${name}`).trim();
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
