// Findings with their proposals, numbers before and after, and the list of changes.

import { made } from "./made.js";

const SIGNS = { deg: "°", "deg/s2": "°/s²" };

export function amount(value, unit) {
  if (value === null || value === undefined) return "none";
  const digits = Math.abs(value) < 9.995 ? 2 : Math.abs(value) < 99.95 ? 1 : 0;
  const sign = SIGNS[unit] ?? unit;
  return `${value.toFixed(digits)}${sign.startsWith("°") ? "" : "\u00a0"}${sign}`;
}

export function frames(finding) {
  return finding.first === finding.last ? `frame ${finding.first}` : `frames ${finding.first} to ${finding.last}`;
}

export function placed(finding) {
  return finding.foot === "both" ? "both feet" : `${finding.foot}${finding.part ? ` ${finding.part}` : ""}`;
}

const same = (one, finding) => one.kind === finding.kind && one.foot === finding.foot && one.first <= finding.last && one.last >= finding.first;

export function showNumbers(head) {
  const body = document.querySelector("#numbers tbody");
  body.replaceChildren(...head.numbers.kinds.map((one) => made("tr", { "data-kind": one.kind },
    made("td", {}, one.kind),
    made("td", { class: one.before_level }, amount(one.before, one.unit)),
    made("td", { class: one.after_level }, amount(one.after, one.unit)))));
  const { keys, ankle_mm: ankle, changed } = head.numbers;
  document.getElementById("cost").textContent = changed.length
    ? `Feet moved by ${ankle[0].toFixed(1)} mm left, ${ankle[1].toFixed(1)} mm right (rms of the ankle); ${changed.length} channels written, ${keys.before} keys before, ${keys.after} now, ${keys.every_frame} would be one on every frame.`
    : "Nothing needs to be written.";
}

export function showFindings(head, about, past, go) {
  const list = document.getElementById("findings");
  const focus = document.activeElement?.dataset?.at;
  list.replaceChildren(...head.before.map((finding, i) => item(finding, head.ways[i], about, past, go, i)));
  if (!head.before.length) list.append(made("li", { class: "soft" }, "none"));
  document.getElementById("left").replaceChildren(...(head.after.length
    ? head.after.map((finding) => made("li", { "data-level": finding.level }, where(finding, go), made("span", { class: "soft" }, ` ${finding.level}`)))
    : [made("li", { class: "soft" }, "none")]));
  if (focus) document.querySelector(`[data-at="${focus}"]`)?.focus();
}

function where(finding, go) {
  return made("button", {
    class: "where", onclick: () => go.to(finding), onpointerenter: () => go.point(finding), onpointerleave: () => go.point(null),
    onfocus: () => go.point(finding), onblur: () => go.point(null),
  }, made("span", { class: finding.level }, finding.kind), ` ${placed(finding)}, ${frames(finding)}: ${amount(finding.amount, finding.unit)}`);
}

function item(finding, ways, about, past, go, i) {
  const rejected = past.now.rejected.some((one) => same(one, finding));
  const mended = about.mended.includes(finding.kind);
  const taken = past.now.taken.find((one) => same(one, finding) && one.part === finding.part);
  const line = made("li", { class: rejected ? "rejected" : "", "data-kind": finding.kind, "data-foot": finding.foot, "data-first": finding.first });
  const buttons = mended ? [made("button", {
    "aria-pressed": String(rejected), "data-at": `reject-${i}`, "aria-label": `${rejected ? "Rejected" : "Reject"}: ${finding.kind} ${placed(finding)}, ${frames(finding)}`,
    onclick: () => past.put({ rejected: rejected ? past.now.rejected.filter((one) => !same(one, finding)) : [...past.now.rejected, { kind: finding.kind, foot: finding.foot, first: finding.first, last: finding.last }] }),
  }, rejected ? "Rejected" : "Reject")] : [];
  line.append(made("div", { class: "row" }, where(finding, go), ...buttons));
  if (ways.length) {
    const details = made("details", { open: Boolean(taken) }, made("summary", {}, `${ways.length} ${ways.length === 1 ? "way" : "ways"} to mend it by itself`));
    details.append(made("ul", { class: "ways" }, ...ways.map((way, k) => wayItem(way, k, finding, taken, past, i))));
    line.append(details);
  }
  return line;
}

function wayItem(way, k, finding, taken, past, i) {
  const mine = taken?.way === way.way;
  const most = way.channels.map((name, c) => `${name} ${way.most[c] > 0 ? "+" : ""}${amount(way.most[c], way.units[c])}`).join(", ");
  const said = (one) => [amount(one.after, one.unit), amount(one.before, one.unit)];
  const worse = way.worse.filter((one) => said(one)[0] !== said(one)[1]).map((one) => `${one.kind} ${one.foot} ${said(one)[0]} (was ${said(one)[1]})`).join(", ");
  const told = `${most}; costs ${way.cost.toFixed(2)}, leaves ${amount(way.leaves, way.unit)}${worse ? `; makes worse: ${worse}` : ""}${way.asks ? `; changes ${way.asks}` : ""}`;
  const one = { kind: finding.kind, foot: finding.foot, part: finding.part ?? "", way: way.way, first: finding.first, last: finding.last };
  return made("li", {}, made("div", { class: "row" }, made("span", {}, `${way.way}${way.default ? " (what planting does)" : ""}: ${told}`),
    made("button", {
      "aria-pressed": String(mine), "data-at": `take-${i}-${k}`, "aria-label": `${mine ? "Accepted" : "Accept"}: ${way.way} for ${finding.kind} ${placed(finding)} ${frames(finding)}`,
      onclick: () => past.put({ taken: mine ? past.now.taken.filter((other) => !same(other, finding)) : [...past.now.taken.filter((other) => !same(other, finding)), one] }),
    }, mine ? "Accepted" : "Accept")));
}

export function showChanges(past, about) {
  const now = past.now, entries = [];
  for (const one of now.mix) {
    const parts = [one.share !== 1 ? `${Math.round(100 * one.share)} per cent` : "", one.later ? `${one.later} frames later` : ""].filter(Boolean);
    entries.push([`${one.channels}: ${parts.join(", ")}`, () => past.put({ mix: past.now.mix.filter((other) => other.channels !== one.channels) })]);
  }
  for (const one of now.keys) entries.push([`${one.channel}: key on frame ${one.frame} at ${Number(one.value.toFixed(4))}`, () => past.put({ keys: past.now.keys.filter((other) => other.channel !== one.channel || other.frame !== one.frame) })]);
  for (const one of now.rejected) entries.push([`rejected: ${one.kind} ${one.foot}, ${frames(one)}`, () => past.put({ rejected: past.now.rejected.filter((other) => !same(other, one)) })]);
  for (const one of now.taken) entries.push([`accepted: ${one.way} for ${one.kind} ${one.foot}, ${frames(one)}`, () => past.put({ taken: past.now.taken.filter((other) => !same(other, one) || other.part !== one.part) })]);
  if (now.speed !== null) entries.push([`speed ${now.speed} m/s instead of ${Number(about.speed.toFixed(3))}`, () => past.put({ speed: null })]);
  if (now.clearance) entries.push([`clearance ${1000 * now.clearance} mm`, () => past.put({ clearance: 0 })]);
  if (now.slope) entries.push([`slope ${now.slope} degrees`, () => past.put({ slope: 0 })]);
  for (const name of now.let) entries.push([`${name} may be lowered`, () => past.put({ let: [] })]);
  const told = entries.map(([text]) => text).join("\n") || "nothing yet", list = document.getElementById("changes");
  if (list.dataset.told === told) return;
  list.dataset.told = told;
  list.replaceChildren(...(entries.length
    ? entries.map(([text, remove]) => made("li", {}, made("div", { class: "row" }, made("span", {}, text), made("button", { onclick: remove, "aria-label": `Take back: ${text}` }, "Take back"))))
    : [made("li", { class: "soft" }, "nothing yet")]));
}
