// The page: one clip, its wishes, and what the server answers; drawing on change only.

import { Asking, posted } from "./asking.js";
import { drawCurve, keyUnder, valuesPerPixel } from "./curve.js";
import { drawFigure } from "./figure.js";
import { drawGait, frameAt } from "./gait.js";
import { showChanges, showFindings, showNumbers } from "./lists.js";
import { made, numberField } from "./made.js";
import { makeMix } from "./mix.js";
import { Past } from "./past.js";
import { drawPlan } from "./plan.js";

const $ = (id) => document.getElementById(id);
const about = await (await fetch("clip")).json();
const now = { frame: about.first, sample: 0, lap: 0 };
const shown = { authored: true, planted: true, neighbours: false, finding: null, spot: null };
const scrub = $("scrub");
scrub.setAttribute("aria-valuemin", about.first);
scrub.setAttribute("aria-valuemax", about.last);
let answer = null, told = { before: [], after: [] }, playing = 0, later = 0;

document.title = `${about.name}: Surefoot`;
$("name").textContent = about.name;
$("setting").textContent = `${about.file}: frames ${about.first} to ${about.last} at ${Number(about.rate.toFixed(3))} a second${about.loop ? ", a loop" : ""}; ground: ${about.ground}`;
if (about.folder) $("save").textContent = "Save a copy";  // a demo's file lies inside the package
about.channels.forEach((name, k) => $("channel").append(made("option", { value: name }, about.units[k] ? `${name}, ${about.units[k]}` : name)));

const past = new Past({ ...about.wishes, channel: about.wishes.channel || about.hips[1]?.[1] || about.channels[0] }, changed);
const showMix = makeMix(about, past);
const asking = new Asking(arrived, trouble);
$("channel").value = past.now.channel;

function changed() {
  asking.ask(past.now);
  later ||= setTimeout(showWishes, 50);  // after the answer's figure: until then the machine is the server's
}

function showWishes() {
  clearTimeout(later);
  later = 0;
  showMix();
  showChanges(past, about);
  $("undo").disabled = !past.before.length;
  $("redo").disabled = !past.after.length;
}

function arrived(head, arrays, wishes) {
  if (answer && !head.whole) arrays = { ...beforeOf(answer.arrays), ...arrays };  // the authored figure follows at rest
  answer = { head, arrays, loop: about.loop, first: about.first, last: about.last, leg: about.leg, findings: told };
  if (head.whole) {
    told = answer.findings = { before: head.before, after: head.after };
    showNumbers(head);
    showFindings(head, about, past, { to: goTo, point });
    showKeys();
    if (head.changed_on_disk) banner("The clip's file has changed on disk since it was opened.", [["Open the new one", reopen]]);
  }
  say(head.told.length ? `${head.told.join("; ")}.` : head.whole ? (head.numbers.worst === "clean" || head.numbers.worst === "note" ? "Planted; nothing is left beyond a note." : `Planted; ${head.numbers.worst}s are left.`) : "Planted; checking.");
  const root = document.documentElement.dataset;
  if (root.shown !== (head.whole ? "whole" : "quick")) root.shown = head.whole ? "whole" : "quick";
  if (head.whole) root.wishes = JSON.stringify(wishes);
  showFrame(now.frame, now.lap);
  if (later) setTimeout(showWishes);
}

function beforeOf(arrays) {
  return Object.fromEntries(Object.entries(arrays).filter(([name]) => name.startsWith("before.")));
}

function say(text) {
  if ($("status").className) $("status").className = "";
  if ($("status").textContent !== text) $("status").textContent = text;
}
function trouble(text) { $("status").className = "trouble"; $("status").textContent = text; }

function draw() {
  if (answer === null) return;
  for (const view of ["side", "front", "above"]) drawFigure($(view), view, answer, now, shown);
  drawPlan($("plan"), answer, now);
  drawGait($("gait"), answer, now, shown);
  drawCurve($("curve"), answer, now);
}

function showFrame(frame, lap = 0) {
  const fine = answer?.head.fine ?? 1;
  const count = answer ? answer.arrays["after.hips"].shape[0] : 1;
  now.sample = Math.max(0, Math.min(count - 1, Math.round((frame - about.first) * fine)));
  now.frame = about.first + now.sample / fine;
  now.lap = lap;
  if (document.activeElement !== $("frame") && $("frame").valueAsNumber !== now.frame) $("frame").value = now.frame;
  if (scrub.getAttribute("aria-valuenow") !== `${now.frame}`) {
    scrub.setAttribute("aria-valuenow", now.frame);
    scrub.setAttribute("aria-valuetext", `frame ${now.frame}`);
  }
  draw();
}

function step(by) {
  const span = about.last - about.first + 1;
  let frame = now.frame + by;
  if (about.loop) frame = about.first + ((((frame - about.first) % span) + span) % span);
  showFrame(Math.max(about.first, Math.min(about.last + (about.loop ? 0.999 : 0), frame)));
}

function play() {
  if (playing) { cancelAnimationFrame(playing); playing = 0; $("play").setAttribute("aria-pressed", "false"); return; }
  $("play").setAttribute("aria-pressed", "true");
  const start = performance.now(), from = now.frame - about.first, span = about.last - about.first + (about.loop ? 1 : 0) || 1;
  const tick = (time) => {
    const on = from + ((time - start) / 1000) * about.rate;
    const lap = Math.floor(on / span);
    showFrame(about.first + (on - lap * span), about.loop ? lap : 0);
    playing = requestAnimationFrame(tick);
  };
  playing = requestAnimationFrame(tick);
}

function goTo(finding) {
  if (playing) play();
  const span = about.last - about.first + 1;
  showFrame(about.loop ? about.first + ((finding.worst - about.first) % span) : finding.worst);
}

function point(finding) {
  shown.finding = finding;
  shown.spot = finding;
  if (finding) goTo(finding); else draw();
}

function showKeys() {
  const keys = answer.arrays["keys.before"];
  const list = $("key-list");
  if (list.contains(document.activeElement)) return;
  list.replaceChildren();
  for (let i = 0; keys && i < keys.shape[0]; i++) {
    const frame = keys.data[2 * i], value = Number(keys.data[2 * i + 1].toFixed(4));
    const field = numberField(`frame ${frame}`, { value, low: -1e6, high: 1e6, step: 0.1, onput: (v) => putKey(frame, v, `key ${frame}`) });
    field.input.addEventListener("change", () => past.rest());
    list.append(made("label", {}, `frame ${frame} `, field.input, field.told));
  }
}

function putKey(frame, value, gesture) {
  const channel = past.now.channel;
  const others = past.now.keys.filter((one) => one.channel !== channel || Math.abs(one.frame - frame) > 1e-6);
  past.put({ keys: [...others, { channel, frame, value }] }, `${gesture} ${channel}`);
}

function banner(text, buttons) {
  $("banner").hidden = false;
  $("banner").replaceChildren(made("span", {}, text), ...buttons.map(([word, act]) => made("button", { onclick: act }, word)),
    made("button", { onclick: () => { $("banner").hidden = true; } }, "Go on as it is"));
}

async function reopen() {
  try { await posted("reopen", past.now); location.reload(); } catch (error) { trouble(error.message); }
}

async function save(where = "save") {
  try {
    const { written } = await posted(where, past.now);
    $("banner").hidden = true;
    say(`Written ${about.folder ? `in ${about.folder}` : `beside ${about.file}`}: ${written.join(" and ")}.`);
  } catch (error) {
    trouble(error.message);
    if (error.status === 409) banner(error.message, [["Open the new one", reopen], ["Save mine beside it anyway", () => save("save-anyway")]]);
  }
}

$("undo").addEventListener("click", () => past.undo());
$("redo").addEventListener("click", () => past.redo());
$("save").addEventListener("click", () => save());
$("play").addEventListener("click", play);
$("back").addEventListener("click", () => step(-1));
$("on").addEventListener("click", () => step(1));
$("frame").addEventListener("input", () => { if (Number.isFinite($("frame").valueAsNumber)) showFrame($("frame").valueAsNumber); });
for (const id of ["authored", "planted", "neighbours"]) $(id).addEventListener("change", () => { shown[id] = $(id).checked; draw(); });
$("channel").addEventListener("change", () => { past.now = { ...past.now, channel: $("channel").value }; $("key-list").replaceChildren(); asking.ask(past.now); });

const scrubTo = (event) => showFrame(frameAt($("gait"), answer, event.clientX - $("gait").getBoundingClientRect().left));
scrub.addEventListener("pointerdown", (event) => { if (playing) play(); scrub.setPointerCapture(event.pointerId); scrubTo(event); });
scrub.addEventListener("pointermove", (event) => { if (scrub.hasPointerCapture(event.pointerId)) scrubTo(event); });
scrub.addEventListener("keydown", (event) => {
  const by = { ArrowLeft: -1, ArrowRight: 1, ArrowDown: -1, ArrowUp: 1, PageDown: -4, PageUp: 4 }[event.key];
  if (by) { event.preventDefault(); step(event.shiftKey ? by / (answer?.head.fine ?? 1) : by); }
  if (event.key === "Home" || event.key === "End") { event.preventDefault(); showFrame(event.key === "Home" ? about.first : about.last); }
});

let dragged = null;
const curve = $("curve");
curve.addEventListener("pointerdown", (event) => {
  const key = answer && keyUnder(curve, answer, event.offsetX, event.offsetY);
  if (!key) return;
  dragged = { ...key, y: event.offsetY, rate: valuesPerPixel(curve, answer) };
  curve.setPointerCapture(event.pointerId);
});
curve.addEventListener("pointermove", (event) => {
  if (dragged) putKey(dragged.frame, dragged.value + (event.offsetY - dragged.y) * dragged.rate, "drag");
  else curve.style.cursor = answer && keyUnder(curve, answer, event.offsetX, event.offsetY) ? "ns-resize" : "default";
});
for (const end of ["pointerup", "pointercancel"]) curve.addEventListener(end, () => { dragged = null; past.rest(); });

document.addEventListener("keydown", (event) => {
  const command = event.ctrlKey || event.metaKey, letter = event.key.toLowerCase();
  const act = command ? { z: event.shiftKey ? () => past.redo() : () => past.undo(), s: () => save() }[letter] : undefined;
  const plain = event.target.matches("input, select, button, summary") || command ? undefined : { " ": play, ",": () => step(-1), ".": () => step(1) }[event.key];
  if (act ?? plain) { event.preventDefault(); (act ?? plain)(); }
});
window.addEventListener("resize", draw);
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);

showMix();
showChanges(past, about);
asking.askWhole(past.now);
