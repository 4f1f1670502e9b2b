// The track plan: footprints from above, the way to go along the paper, scrolling as the cycle travels.

import { centreOf, poseOf } from "./figure.js";
import { ink, paper, path, write } from "./paper.js";
import { moved, pointsAt, seen } from "./space.js";

export function drawPlan(canvas, answer, now) {
  const { pen, width, height } = paper(canvas);
  const { heading, drift } = answer.head;
  const centre = seen("above", centreOf(answer, now.sample, now.lap), heading);
  const stride = Math.hypot(drift[1], drift[3]);
  const scale = Math.min(height / (0.72 * answer.leg), width / (2.2 * Math.max(stride, 1.4 * answer.leg)));
  const at = (point, lap = now.lap) => {
    const [x, y] = seen("above", moved(point, drift, lap), heading);
    return [width / 2 + (x - centre[0]) * scale, height / 2 - 4 - (y - centre[1]) * scale];
  };
  const laps = answer.loop ? [-3, -2, -1, 0, 1, 2, 3].map((lap) => lap + now.lap) : [0];
  for (const lap of laps) streaks(pen, answer, lap, at);
  for (const lap of laps) {
    answer.head.prints.forEach(([foot, first, last], i) => {
      const [x, y] = at(pointsAt(answer.arrays["print.anchors"], i)[1], lap), reach = 0.4 * answer.leg * scale;
      if (x < -reach || x > width + reach) return;
      pen.strokeStyle = pen.fillStyle = ink(foot);
      pen.lineWidth = 1.5;
      for (const part of ["hind", "toes"]) {
        path(pen, pointsAt(answer.arrays[`print.${part}`], i).map((p) => at(p, lap)), true);
        pen.globalAlpha = foot === "left" ? 0.3 : 0.08;
        pen.fill();
        pen.globalAlpha = 1;
        pen.stroke();
      }
      if (x > -40 && x < width + 40) {
        const [, side] = seen("above", pointsAt(answer.arrays["print.anchors"], i)[1], heading);
        const up = side - centre[1] > 0 ? -1 : 1;
        const low = y + up * (0.11 * answer.leg * scale) + (up > 0 ? 11 : -3);
        write(pen, `${foot} ${first} to ${last}`, x, Math.max(11, Math.min(height - 14, low)), { align: "center" });
      }
    });
  }
  dimension(pen, answer, now, at, stride, width, height);
  const pose = poseOf(answer, "after", now.sample);
  pose.feet.forEach((foot) => {
    pen.strokeStyle = ink("ink");
    pen.lineWidth = 1.5;
    for (const ring of [foot.hind, foot.toes]) {
      path(pen, ring.map((p) => at(p)), true);
      pen.stroke();
    }
  });
  const [hx, hy] = at(pose.hips);
  pen.beginPath();
  pen.arc(hx, hy, 4, 0, 2 * Math.PI);
  pen.fillStyle = ink("ink");
  pen.fill();
}

// Where the authored ball goes while its foot stands: the slide, to scale.
function streaks(pen, answer, lap, at) {
  const joints = answer.arrays["before.joints"], standing = answer.arrays.standing.data;
  const count = joints.shape[0];
  pen.strokeStyle = ink("finding");
  pen.lineWidth = 4;
  pen.globalAlpha = 0.5;
  for (const side of [0, 1]) {
    let run = [];
    const end = () => {
      if (run.length > 1) { path(pen, run); pen.stroke(); }
      run = [];
    };
    for (let i = 0; i < count; i++) {
      if (!standing[2 * i + side]) { end(); continue; }
      const k = 3 * (i * 14 + side * 7 + 5);
      run.push(at([...joints.data.subarray(k, k + 3)], lap));
    }
    end();
  }
  pen.globalAlpha = 1;
}

function dimension(pen, answer, now, at, stride, width, height) {
  if (!answer.loop || stride < 0.05 || !answer.head.prints.length) return;
  const heel = pointsAt(answer.arrays["print.anchors"], 0)[0];
  const a = at(heel, now.lap), b = at(heel, now.lap + 1), y = height - 5;
  pen.strokeStyle = ink("stone");
  pen.lineWidth = 1;
  path(pen, [[a[0], y - 4], [a[0], y + 3]]); pen.stroke();
  path(pen, [[b[0], y - 4], [b[0], y + 3]]); pen.stroke();
  path(pen, [[a[0], y], [b[0], y]]); pen.stroke();
  const words = `stride ${stride.toFixed(3)} m`;
  if (b[0] + 100 < width) write(pen, words, b[0] + 6, y + 3);
  else write(pen, words, a[0] - 6, y + 3, { align: "right" });
}
