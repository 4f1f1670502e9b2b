// The figure of the report: draws the points that the page holds, in three views. It works out nothing but the view.

const data = JSON.parse(document.getElementById("figure-data").textContent);
const slider = document.getElementById("frame");
const shown = document.getElementById("now");
const play = document.getElementById("play");
const before = document.getElementById("before");
const [HIP, KNEE, ANKLE, HEEL, HINGE, BALL, TOE] = [0, 1, 2, 3, 4, 5, 6];
const FEET = ["left", "right"];
const sine = Math.sin(data.heading);
const cosine = Math.cos(data.heading);

/** Points (x, y, z) in metres, to the right and up on the paper: as `looked_at` of the library does. */
const VIEWS = {
  side: ([x, y, z]) => [sine * x + cosine * z, y],
  front: ([x, y, z]) => [cosine * x - sine * z, y],
  above: ([x, y, z]) => [sine * x + cosine * z, cosine * x - sine * z],
};

/** Where the middle of a view is, in metres beside the hips, and how many metres it shows across and up. */
const leg = data.leg;
const FRAMING = {
  side: { right: 0, up: -0.46 * leg, wide: 1.9 * leg, tall: 1.55 * leg },
  front: { right: 0, up: -0.46 * leg, wide: 1.0 * leg, tall: 1.55 * leg },
  above: { right: 0, up: 0, wide: 1.9 * leg, tall: 0.9 * leg },
};

const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

/** Fits a canvas to its place and returns its context and its map from view metres to pixels. */
function prepared(name, index) {
  const canvas = document.getElementById(name);
  const ratio = window.devicePixelRatio || 1;
  const { clientWidth: width, clientHeight: height } = canvas;
  if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
  if (canvas.height !== Math.round(height * ratio)) canvas.height = Math.round(height * ratio);
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.clearRect(0, 0, width, height);
  const framing = FRAMING[name];
  const scale = Math.min(width / framing.wide, height / framing.tall);
  const [right, up] = VIEWS[name](data.now.hips[index]);
  const place = ([a, b]) => [
    width / 2 + (a - right - framing.right) * scale,
    height / 2 - (b - up - framing.up) * scale,
  ];
  return { context, width, height, place, at: (point) => place(VIEWS[name](point)) };
}

function path(context, points, closed) {
  context.beginPath();
  points.forEach(([x, y], n) => (n ? context.lineTo(x, y) : context.moveTo(x, y)));
  if (closed) context.closePath();
}

function drawGround(view, index) {
  const { context, width, height, place } = view;
  const line = data.now.ground[index].map(place);
  const whole = [[-9, line[0][1]], ...line, [width + 9, line.at(-1)[1]]];
  path(context, [...whole, [width + 9, height + 9], [-9, height + 9]], true);
  context.fillStyle = colour("earth");
  context.fill();
  path(context, whole);
  context.strokeStyle = colour("ink");
  context.lineWidth = 1;
  context.stroke();
}

/** The front view's ground: level with the standing feet's own ground, which the side view shows in full. */
function drawLevel(view, index) {
  const { context, width, height, at } = view;
  const hips = data.now.hips[index];
  const along = VIEWS.side(hips)[0];
  const line = data.now.ground[index];
  const after = line.findIndex(([a]) => a >= along);
  const [one, two] = [line[Math.max(after - 1, 0)], line[Math.max(after, 1)]];
  const share = two[0] > one[0] ? (along - one[0]) / (two[0] - one[0]) : 0;
  const y = at([hips[0], one[1] + share * (two[1] - one[1]), hips[2]])[1];
  context.fillStyle = colour("earth");
  context.fillRect(0, y, width, height - y);
  path(context, [[0, y], [width, y]]);
  context.strokeStyle = colour("ink");
  context.lineWidth = 1;
  context.stroke();
}

function drawPrints(view) {
  const { context, at } = view;
  for (const print of data.now.prints) {
    context.strokeStyle = colour(FEET[print.foot]);
    context.lineWidth = 1;
    context.setLineDash([2, 3]);
    for (const ring of [print.hind, print.toes]) {
      path(context, ring.map(at), true);
      context.stroke();
    }
  }
  context.setLineDash([]);
}

function drawFigure(view, figure, index, alpha) {
  const { context, at } = view;
  context.globalAlpha = alpha;
  context.lineJoin = context.lineCap = "round";
  const hips = figure.hips[index];
  const head = hips.map((value, axis) => value + 0.22 * leg * figure.up[index][axis]);
  context.strokeStyle = colour("ink");
  context.lineWidth = 5;
  path(context, [at(hips), at(head)]);
  context.stroke();
  path(context, figure.joints[index].map((joints) => at(joints[HIP])));
  context.stroke();
  FEET.forEach((name, foot) => {
    const joints = figure.joints[index][foot].map(at);
    context.strokeStyle = context.fillStyle = colour(name);
    context.lineWidth = 3;
    context.setLineDash(foot ? [7, 4] : []);
    path(context, [joints[HIP], joints[KNEE], joints[ANKLE]]);
    context.stroke();
    context.setLineDash([]);
    context.lineWidth = 1.4;
    const shapes = [
      [joints[ANKLE], joints[HEEL], joints[BALL], joints[HINGE]], [joints[HINGE], joints[BALL], joints[TOE]],
      figure.hind[index][foot].map(at), figure.toes[index][foot].map(at),
    ];
    for (const shape of shapes) {
      path(context, shape, true);
      context.globalAlpha = alpha * 0.25;
      if (!foot) context.fill();
      context.globalAlpha = alpha;
      context.stroke();
    }
    for (const joint of [HIP, KNEE, ANKLE]) {
      context.beginPath();
      context.arc(...joints[joint], 3.5, 0, 2 * Math.PI);
      context.fillStyle = foot ? colour("paper") : colour(name);
      context.fill();
      context.stroke();
    }
    context.fillStyle = colour(name);
  });
  context.globalAlpha = 1;
}

/** Draws the frame that the slider names. */
function render() {
  const index = Number(slider.value);
  for (const name of Object.keys(VIEWS)) {
    const view = prepared(name, index);
    if (name === "side") drawGround(view, index);
    if (name === "front") drawLevel(view, index);
    if (name === "above") drawPrints(view);
    if (data.before && before.checked) drawFigure(view, data.before, index, 0.35);
    drawFigure(view, data.now, index, 1);
  }
  const words = `${data.frames[index]} of ${data.frames.at(-1)}`;
  shown.textContent = words;
  slider.setAttribute("aria-valuetext", `frame ${words}`);
}

let timer = 0;

function step(by) {
  const count = data.frames.length;
  slider.value = String((Number(slider.value) + by + count) % count);
  render();
}

function playing(on) {
  clearInterval(timer);
  timer = on ? setInterval(step, data.seconds * 1000, 1) : 0;
  play.setAttribute("aria-pressed", String(on));
  play.textContent = on ? "stop" : "play";
}

/** Goes to the drawn frame nearest to one of the clip, which may lie between frames or, in a loop, beyond the last. */
function seek(frame) {
  const [first, last] = [data.frames[0], data.frames.at(-1)];
  const count = last - first + (data.frames[1] - first || 1);
  const within = first + ((((frame - first) % count) + count) % count);
  let best = 0;
  data.frames.forEach((own, n) => {
    if (Math.abs(own - within) < Math.abs(data.frames[best] - within)) best = n;
  });
  playing(false);
  slider.value = String(best);
  render();
  document.getElementById("figure-head").scrollIntoView({ block: "start" });
  slider.focus({ preventScroll: true });
}

slider.max = String(data.frames.length - 1);
slider.addEventListener("input", () => { playing(false); render(); });
document.getElementById("back").addEventListener("click", () => { playing(false); step(-1); });
document.getElementById("on").addEventListener("click", () => { playing(false); step(1); });
play.addEventListener("click", () => playing(!timer));
if (before) before.addEventListener("change", render);
for (const button of document.querySelectorAll("button[data-frame]")) {
  button.addEventListener("click", () => seek(Number(button.dataset.frame)));
}
window.addEventListener("resize", render);
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", render);
window.addEventListener("beforeprint", render);
render();
