// The figure in three views: ground, soles, legs and anchors; authored faint and dashed, planted in full.

import { ink, paper, path, write } from "./paper.js";
import { moved, pointsAt, seen } from "./space.js";

const FEET = ["left", "right"];
const POINTS = 7; // a foot's joints: hip, knee, ankle, heel, hinge, ball, toe

export function poseOf(answer, word, sample) {
  const joints = pointsAt(answer.arrays[`${word}.joints`], sample);
  const hind = pointsAt(answer.arrays[`${word}.hind`], sample);
  const toes = pointsAt(answer.arrays[`${word}.toes`], sample);
  return {
    feet: [0, 1].map((foot) => ({
      joints: joints.slice(foot * POINTS, (foot + 1) * POINTS),
      hind: hind.slice((foot * hind.length) / 2, ((foot + 1) * hind.length) / 2),
      toes: toes.slice((foot * toes.length) / 2, ((foot + 1) * toes.length) / 2),
    })),
    hips: pointsAt(answer.arrays[`${word}.hips`], sample)[0],
    up: pointsAt(answer.arrays[`${word}.up`], sample)[0],
  };
}

// Where the eye rests at a sample: the hips' mean over the clip, moved on evenly, so that bob and shift show.
export function centreOf(answer, sample, lap) {
  const { shape, data } = answer.arrays["after.hips"];
  const mean = [0, 0, 0];
  const drift = answer.head.drift, count = shape[0];
  for (let i = 0; i < count; i++) for (let k = 0; k < 3; k++) mean[k] += data[3 * i + k] / count;
  const share = answer.loop ? sample / count - 0.5 : 0;
  const middle = [mean[0] + share * drift[1], mean[1], mean[2] + share * drift[3]];
  const own = pointsAt(answer.arrays["after.hips"], sample)[0];
  return moved(drift[0] === 0 && answer.loop ? middle : [own[0], mean[1], own[2]], drift, lap);
}

export function drawFigure(canvas, view, answer, now, shown) {
  const { pen, width, height } = paper(canvas);
  const heading = answer.head.heading, leg = answer.leg, drift = answer.head.drift;
  const centre = seen(view, centreOf(answer, now.sample, now.lap), heading);
  const scale = view === "above" ? Math.min(height / (0.9 * leg), width / (1.9 * leg)) : height / (1.72 * leg);
  const base = view === "above" ? height / 2 : height - 22;
  const floor = groundUnder(answer, centreOf(answer, now.sample, 0));
  const at = (point, lap = now.lap) => {
    const [x, y] = seen(view, moved(point, drift, lap), heading);
    const level = view === "above" ? centre[1] : floor + now.lap * drift[2];
    return [width / 2 + (x - centre[0]) * scale, base - (y - level) * scale];
  };
  if (view === "above") drawPrints(pen, answer, now, at);
  else drawGround(pen, view, answer, now, at, width, height);
  if (shown.neighbours) {
    for (const [step, alpha] of [[-2, 0.12], [-1, 0.25], [1, 0.25], [2, 0.12]]) {
      const [sample, lap] = stepped(answer, now, step * answer.head.fine);
      pen.globalAlpha = alpha;
      drawPose(pen, poseOf(answer, "after", sample), (p) => at(p, lap), leg, {});
    }
  }
  pen.globalAlpha = 1;
  if (shown.authored) {
    pen.globalAlpha = shown.planted ? 0.55 : 1;
    drawPose(pen, poseOf(answer, "before", now.sample), at, leg, { faint: true });
    pen.globalAlpha = 1;
  }
  if (shown.planted) drawPose(pen, poseOf(answer, "after", now.sample), at, leg, {});
  if (shown.spot) drawSpot(pen, poseOf(answer, "after", now.sample), at, shown.spot);
  if (view === "side") {
    const bar = 0.1 * scale;
    pen.strokeStyle = ink("ink");
    pen.lineWidth = 1.5;
    path(pen, [[width - 12 - bar, height - 8], [width - 12, height - 8]]);
    pen.stroke();
    write(pen, "10 cm", width - 16 - bar, height - 4, { align: "right" });
  }
}

function stepped(answer, now, by) {
  const count = answer.arrays["after.hips"].shape[0];
  const to = now.sample + by;
  if (!answer.loop) return [Math.max(0, Math.min(count - 1, to)), now.lap];
  return [((to % count) + count) % count, now.lap + Math.floor(to / count)];
}

function groundUnder(answer, point) {
  const { data, shape } = answer.arrays.line;
  const heading = answer.head.heading;
  const along = seen("above", point, heading)[0];
  for (let i = 0; i + 1 < shape[0]; i++) {
    const a = [...data.subarray(3 * i, 3 * i + 3)], b = [...data.subarray(3 * i + 3, 3 * i + 6)];
    const u = seen("above", a, heading)[0], v = seen("above", b, heading)[0];
    if (along >= u && along <= v) return v > u ? a[1] + ((along - u) / (v - u)) * (b[1] - a[1]) : b[1];
  }
  return data[1];
}

function drawGround(pen, view, answer, now, at, width, height) {
  const { data, shape } = answer.arrays.line;
  let points = [];
  if (view === "side") {
    for (let i = 0; i < shape[0]; i++) points.push(at([...data.subarray(3 * i, 3 * i + 3)]));
    points[0][0] = Math.min(points[0][0], 0);
    points[points.length - 1][0] = Math.max(points[points.length - 1][0], width);
  } else {
    const [, y] = at([0, groundUnder(answer, centreOf(answer, now.sample, 0)), 0]);
    points = [[0, y], [width, y]];
  }
  path(pen, [...points, [width, height], [0, height]], true);
  pen.fillStyle = ink("earth");
  pen.fill();
  path(pen, points);
  pen.strokeStyle = ink("ink");
  pen.lineWidth = 1;
  pen.stroke();
  if (view !== "side" || !answer.arrays["print.anchors"]) return;
  answer.head.prints.forEach(([foot], i) => {
    for (const lap of [now.lap - 1, now.lap, now.lap + 1]) {
      pen.strokeStyle = ink(foot);
      pen.lineWidth = 2;
      const low = foot === "left" ? 3 : 8;
      const [heel, , toe] = pointsAt(answer.arrays["print.anchors"], i).map((p) => at(p, lap));
      path(pen, [[heel[0], heel[1] + low], [toe[0], toe[1] + low]]);
      pen.stroke();
    }
  });
}

function drawPrints(pen, answer, now, at) {
  if (!answer.arrays["print.hind"]) return;
  answer.head.prints.forEach(([foot], i) => {
    for (const lap of [now.lap - 1, now.lap, now.lap + 1]) {
      pen.strokeStyle = ink(foot);
      pen.lineWidth = 1;
      for (const part of ["hind", "toes"]) {
        path(pen, pointsAt(answer.arrays[`print.${part}`], i).map((p) => at(p, lap)), true);
        pen.globalAlpha = 0.14;
        pen.fillStyle = ink(foot);
        pen.fill();
        pen.globalAlpha = 0.6;
        pen.stroke();
      }
      pen.globalAlpha = 1;
    }
  });
}

export function drawPose(pen, pose, at, leg, { faint = false }) {
  const top = pose.hips.map((v, k) => v + 0.42 * leg * pose.up[k]);
  pen.setLineDash(faint ? [4, 3] : []);
  pen.strokeStyle = faint ? ink("stone") : ink("ink");
  pen.lineWidth = faint ? 1.2 : 3;
  path(pen, [at(pose.feet[0].joints[0]), at(pose.hips), at(pose.feet[1].joints[0])]);
  pen.stroke();
  path(pen, [at(pose.hips), at(top)]);
  pen.stroke();
  for (const side of [1, 0]) {
    const foot = pose.feet[side];
    const colour = faint ? ink("stone") : ink(FEET[side]);
    pen.strokeStyle = colour;
    pen.lineWidth = faint ? 1.2 : 4;
    path(pen, foot.joints.slice(0, 3).map((p) => at(p)));
    pen.stroke();
    pen.lineWidth = faint ? 1 : 1.5;
    path(pen, [at(foot.joints[2]), at(foot.joints[3])]);
    pen.stroke();
    path(pen, [at(foot.joints[2]), at(foot.joints[4])]);
    pen.stroke();
    for (const ring of [foot.hind, foot.toes]) {
      path(pen, ring.map((p) => at(p)), true);
      if (!faint) {
        pen.globalAlpha *= 0.35;
        pen.fillStyle = colour;
        pen.fill();
        pen.globalAlpha /= 0.35;
      }
      pen.stroke();
    }
    pen.setLineDash([]);
    for (const p of foot.joints.slice(0, 3)) {
      pen.beginPath();
      pen.arc(...at(p), faint ? 1.5 : 3, 0, 2 * Math.PI);
      pen.fillStyle = side === 0 || faint ? colour : ink("paper");
      pen.fill();
      if (!faint) pen.stroke();
    }
    pen.setLineDash(faint ? [4, 3] : []);
  }
  pen.setLineDash([]);
}

// The place of a finding: a ring about the part of the foot or the knee that it's about.
function drawSpot(pen, pose, at, { foot, part, kind }) {
  const index = { heel: 3, ball: 5, toe: 6, knee: 1, hip: 0, ankle: 2 }[part] ?? (kind === "snap" ? 1 : kind === "stretch" ? 0 : 5);
  for (const side of foot === "both" ? [0, 1] : [FEET.indexOf(foot)]) {
    if (side < 0) continue;
    pen.beginPath();
    pen.arc(...at(pose.feet[side].joints[index]), 13, 0, 2 * Math.PI);
    pen.strokeStyle = ink("finding");
    pen.lineWidth = 3;
    pen.stroke();
  }
}
