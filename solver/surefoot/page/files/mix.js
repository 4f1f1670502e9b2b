// The mix: a slider and two numbers for each hip layer and family, and what the feet stand on.

import { made, numberField } from "./made.js";

const WORDS = { x: "side to side", y: "bob", z: "fore and aft", pitch: "pitch", yaw: "yaw", roll: "roll" };

export function makeMix(about, past) {
  const rows = [];
  const place = document.getElementById("mix"), more = document.getElementById("mix-more");
  for (const where of [place, more]) {
    where.append(made("div", { class: "slider head", "aria-hidden": "true" }, made("span"), made("span", {}, "share"), made("span", {}, "per cent"), made("span", {}, "later")));
  }
  const feet = new Set(about.feet);
  const groups = [...new Set(about.channels.map((name) => name.split(".").slice(0, -1).join(".")))];
  const hips = about.hips.map(([key, channel]) => [channel, WORDS[key] ?? key]);
  if (hips.length) rows.push(row(place, "hips", "all of the hips", past, true));
  for (const [channel, word] of hips) rows.push(row(place, channel, word, past, false));
  const own = new Set(hips.map(([channel]) => channel));
  for (const group of groups) {
    const channels = about.channels.filter((name) => name.startsWith(`${group}.`));
    if (!group || channels.every((name) => own.has(name) || feet.has(name))) continue;
    rows.push(row(more, group, group.replaceAll("_", " "), past, false));
  }
  document.getElementById("more").hidden = more.children.length < 2;
  const setup = makeSetup(about, past);
  return () => { for (const show of [...rows, ...setup]) show(); };
}

function row(place, channels, word, past, whole) {
  const mine = () => past.now.mix.find((one) => one.channels === channels) ?? { channels, share: 1, later: 0 };
  const put = (changed) => {
    const one = { ...mine(), ...changed };
    const others = past.now.mix.filter((other) => other.channels !== channels);
    const still = one.share === 1 && one.later === 0;
    past.put({ mix: still ? others : [...others, one] }, `mix ${channels} ${Object.keys(changed)[0]}`);
  };
  const range = made("input", { type: "range", min: 0, max: 150, step: 1, "aria-label": `${word}, per cent` });
  const share = numberField(word, { value: 100, low: -300, high: 300, step: 1, unit: "per cent", onput: (v) => put({ share: v / 100 }) });
  const later = numberField(`${word}, later`, { value: 0, low: -1000, high: 1000, step: 1, unit: "frames", onput: (v) => put({ later: v }) });
  range.addEventListener("input", () => put({ share: range.valueAsNumber / 100 }));
  for (const one of [range, share.input, later.input]) one.addEventListener("change", () => past.rest());
  range.dataset.channels = channels;
  place.append(made("div", { class: whole ? "slider whole" : "slider" }, made("span", { title: channels }, word), range, share.input, later.input, share.told, later.told));
  return () => {
    const one = mine();
    const percent = Math.round(100 * one.share);
    if (range.valueAsNumber !== percent) range.value = percent;
    shown(share.input, round(100 * one.share));
    shown(later.input, one.later);
  };
}

function makeSetup(about, past) {
  const place = document.getElementById("setup");
  const made_ = [];
  const line = (label, unit, low, high, step, get, set) => {
    const field = numberField(label, { value: 0, low, high, step, unit, onput: (v) => past.put(set(v), label) });
    field.input.addEventListener("change", () => past.rest());
    place.append(made("label", { class: "plain" }, `${label}, ${unit}`, field.input, field.told));
    made_.push(() => shown(field.input, round(get())));
  };
  line("speed", "m/s", -20, 20, 0.01, () => past.now.speed ?? about.speed, (v) => ({ speed: Math.abs(v - about.speed) < 1e-9 ? null : v }));
  line("clearance", "mm", 0, 1000, 1, () => 1000 * past.now.clearance, (v) => ({ clearance: v / 1000 }));
  line("slope up ahead", "degrees", -30, 30, 0.5, () => past.now.slope, (v) => ({ slope: v }));
  const height = about.hips.find(([key]) => key === "y")?.[1];
  if (height) {
    const box = made("input", { type: "checkbox" });
    box.addEventListener("change", () => past.put({ let: box.checked ? [height] : [] }));
    place.append(made("label", { class: "plain" }, "lower the hips where a leg can't reach", made("span", {}, box)));
    made_.push(() => { box.checked = past.now.let.includes(height); });
  }
  return made_;
}

function shown(input, value) {
  if (input === document.activeElement && input.classList.contains("wrong")) return;  // still being typed
  if (input.valueAsNumber !== value) input.value = value;
  if (!input.classList.contains("wrong")) return;
  input.classList.remove("wrong");
  input.removeAttribute("aria-invalid");
  const told = document.getElementById(input.getAttribute("aria-describedby") ?? "");
  if (told) told.hidden = true;
}

function round(value) { return Math.round(value * 1e4) / 1e4; }
