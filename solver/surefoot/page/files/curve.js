// One channel over the frames: mixed and planted, with their keys; a mixed key can be dragged up and down.

import { ink, paper, path, sizeOf, write } from "./paper.js";

const LEFT = 74, RIGHT = 12, TOP = 8, LOW = 8, REACH = 9;

function scalesOf(canvas, answer) {
  const { shape, data } = answer.arrays.curve;
  const count = shape[1];
  let low = Infinity, high = -Infinity;
  for (let i = count; i < 3 * count; i++) { low = Math.min(low, data[i]); high = Math.max(high, data[i]); }
  const room = Math.max(high - low, 1e-3) * 0.06;
  low -= room; high += room;
  const [whole, tall] = sizeOf(canvas), width = whole - LEFT - RIGHT, height = tall - TOP - LOW;
  const first = data[0], last = data[count - 1];
  return {
    x: (frame) => LEFT + ((frame - first) / (last - first || 1)) * width,
    y: (value) => TOP + ((high - value) / (high - low)) * height,
    value: (y) => high - ((y - TOP) / height) * (high - low),
    low: low + room, high: high - room, first, last,
  };
}

export function drawCurve(canvas, answer, now) {
  const { pen, width, height } = paper(canvas);
  if (!answer.arrays.curve) return;
  const { shape, data } = answer.arrays.curve, count = shape[1];
  const s = scalesOf(canvas, answer);
  for (const value of [s.low, s.high]) {
    pen.fillStyle = ink("hair");
    pen.fillRect(LEFT, s.y(value), width - LEFT - RIGHT, 1);
    write(pen, value.toFixed(2), LEFT - 6, s.y(value) + 4, { align: "right" });
  }
  [["stone", 1, [5, 4]], ["ink", 2, []]].forEach(([colour, row, dash]) => {
    pen.setLineDash(dash);
    pen.strokeStyle = ink(colour);
    pen.lineWidth = 1.6;
    path(pen, Array.from({ length: count }, (_, i) => [s.x(data[i]), s.y(data[row * count + i])]));
    pen.stroke();
  });
  pen.setLineDash([]);
  for (const [word, colour, size] of [["after", "ink", 2.6], ["before", "stone", 4]]) {
    const keys = answer.arrays[`keys.${word}`];
    for (let i = 0; i < keys.shape[0]; i++) {
      const frame = keys.data[2 * i];
      if (frame < s.first - 1e-6 || frame > s.last + 1e-6) continue;
      pen.beginPath();
      const x = s.x(frame), y = s.y(keys.data[2 * i + 1]);
      if (word === "before") pen.rect(x - size, y - size, 2 * size, 2 * size);
      else pen.arc(x, y, size, 0, 2 * Math.PI);
      pen.fillStyle = word === "before" ? ink("paper") : ink(colour);
      pen.fill();
      pen.strokeStyle = ink(colour);
      pen.lineWidth = 1.5;
      pen.stroke();
    }
  }
  pen.fillStyle = ink("ink");
  pen.fillRect(s.x(now.frame) - 0.5, 0, 1, height);
}

// Returns the mixed key under a place of the canvas, or null.
export function keyUnder(canvas, answer, x, y) {
  if (!answer.arrays.curve) return null;
  const s = scalesOf(canvas, answer), keys = answer.arrays["keys.before"];
  let best = null, nearest = REACH;
  for (let i = 0; i < keys.shape[0]; i++) {
    const [frame, value] = [keys.data[2 * i], keys.data[2 * i + 1]];
    const away = Math.hypot(s.x(frame) - x, s.y(value) - y);
    if (away < nearest) { nearest = away; best = { frame, value }; }
  }
  return best;
}

// What one pixel down means for a value, held while a key is dragged so that the scale doesn't run away.
export function valuesPerPixel(canvas, answer) {
  const s = scalesOf(canvas, answer);
  return s.value(1) - s.value(0);
}
