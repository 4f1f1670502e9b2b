// The gait diagram: bars while heel, ball and toe touch, over the cycle in frames and per cent; it is the time line too.

import { ink, paper, path, shows, sizeOf, write } from "./paper.js";

const LEFT = 74, RIGHT = 12, LANE = 11;
const APART = 22; // pixels at least between two numbers of a scale
const PARTS = ["heel", "ball", "toe"];

export function frameAt(canvas, answer, x) {
  const share = (x - LEFT) / (sizeOf(canvas)[0] - LEFT - RIGHT);
  const end = answer.loop ? answer.last + 1 - 1 / answer.head.fine : answer.last;
  return Math.max(answer.first, Math.min(end, answer.first + share * spanOf(answer)));
}

function spanOf(answer) {
  return answer.last - answer.first + (answer.loop ? 1 : 0) || 1;
}

export function drawGait(canvas, answer, now, shown) {
  const { data } = answer.arrays["after.touch"];
  if (shows(canvas, [now.frame, answer.head.fine, answer.findings, shown.finding, ...data])) return;
  const { pen, width } = paper(canvas);
  const x = (frame) => LEFT + ((frame - answer.first) / spanOf(answer)) * (width - LEFT - RIGHT);
  const touch = answer.arrays["after.touch"], count = touch.shape[0], fine = answer.head.fine;
  let y = 4;
  ["left", "right"].forEach((foot, side) => {
    write(pen, foot, 4, y + 9 + LANE, { size: 12, colour: ink("ink"), bold: true });
    PARTS.forEach((part, row) => {
      write(pen, part, LEFT - 6, y + 9, { align: "right" });
      pen.fillStyle = ink("hair");
      pen.fillRect(LEFT, y + 5, width - LEFT - RIGHT, 1);
      let from = -1;
      for (let i = 0; i <= count; i++) {
        const down = i < count && touch.data[i * 6 + side * 3 + row] > 0.5;
        if (down && from < 0) from = i;
        if (!down && from >= 0) {
          bar(pen, x(answer.first + from / fine), x(answer.first + i / fine), y + 1, foot);
          from = -1;
        }
      }
      y += LANE;
    });
    y += 5;
  });
  findings(pen, answer, x, y, shown);
  y += 14;
  scale(pen, answer, now, x, y, width - LEFT - RIGHT);
  pen.strokeStyle = ink("ink");
  pen.lineWidth = 2;
  const at = x(now.frame);
  path(pen, [[at, 0], [at, y + 4]]); // ends above the numbers, so that it hides none
  pen.stroke();
}

function bar(pen, a, b, y, foot) {
  pen.fillStyle = pen.strokeStyle = ink(foot);
  pen.lineWidth = 1.2;
  if (foot === "left") pen.fillRect(a, y, b - a, 8);
  else {
    pen.strokeRect(a + 0.6, y + 0.6, b - a - 1.2, 6.8);
    pen.globalAlpha = 0.25;
    pen.fillRect(a, y, b - a, 8);
    pen.globalAlpha = 1;
  }
}

function findings(pen, answer, x, y, shown) {
  write(pen, "findings", LEFT - 6, y + 8, { align: "right" });
  const rows = [[answer.findings?.before ?? [], false], [answer.findings?.after ?? [], true]];
  for (const [list, full] of rows) {
    for (const finding of list) {
      const laps = answer.loop ? [0, -(answer.last - answer.first + 1)] : [0];
      for (const lap of laps) {
        const a = Math.max(finding.first + lap, answer.first), b = Math.min(finding.last + lap, answer.last + (answer.loop ? 1 : 0));
        if (b < a) continue;
        pen.strokeStyle = pen.fillStyle = ink("finding");
        const strong = shown.finding === finding;
        pen.globalAlpha = full || strong ? 1 : 0.35;
        pen.fillRect(x(a), y + (full ? 4 : 1), Math.max(x(b) - x(a), 3), full || strong ? 7 : 3);
        pen.globalAlpha = 1;
      }
    }
  }
}

function scale(pen, answer, now, x, y, room) {
  const span = spanOf(answer);
  const step = [1, 2, 4, 5, 10, 20, 50, 100, 200, 500, 1000].find((s) => span / s <= Math.min(26, room / APART)) ?? 5000;
  for (let frame = answer.first; frame <= answer.first + span; frame += step) {
    pen.fillStyle = ink("stone");
    pen.fillRect(x(frame) - 0.5, y, 1, 4);
    const here = frame === now.frame;
    write(pen, `${frame}`, x(frame), y + 14, { align: "center", size: 10, bold: here, colour: ink(here ? "ink" : "soft") });
  }
  write(pen, "frame", LEFT - 6, y + 14, { align: "right" });
  if (!answer.loop) return;
  for (let share = 0; share <= 100; share += room < 11 * APART ? 20 : 10) {
    write(pen, `${share}`, x(answer.first + (share / 100) * span), y + 27, { align: "center", size: 10 });
  }
  write(pen, "per cent", LEFT - 6, y + 27, { align: "right" });
}
