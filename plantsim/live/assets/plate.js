// Faceplates: a program with its mode, set points, hand values and what it sees and does; or a unit with all of its own.
import { $, act, el, number, point, short, shown, store, value } from "./base.js";
import { addTrend } from "./trends.js";

let live = [];
let back = null;

function open(title, ...parts) {
  if ($("plate").hidden) back = document.activeElement;
  live = live.filter(() => false);
  const close = el("button", { onclick: closePlate, title: "close (Esc)" }, "Close");
  $("plate").replaceChildren(el("div", { class: "bar" }, el("h2", {}, title), close), ...parts);
  $("plate").hidden = false;
  close.focus();
}

export function closePlate() {
  $("plate").hidden = true;
  live = [];
  if (back?.isConnected) back.focus();
}

export function movePlate() { if (!$("plate").hidden) for (const move of live) move(); }

export function openProgram(name) {
  live = [];
  const program = store.site.programs.find((p) => p.name === name);
  const parts = programParts(program);
  open(program.name, ...parts);
  live = collected(); movePlate();
}

let pending = [];
const later = (move) => pending.push(move);
function collected() { const moves = pending; pending = []; return moves; }

function programParts(program) {
  const points = program.rows.filter((r) => r.is === "point");
  const last = (r) => r.path.split(".")[1];
  const mode = points.filter((r) => last(r) === "hand");
  const hand = points.filter((r) => last(r).startsWith("hand_"));
  const press = points.filter((r) => r.kind === "press");
  const rest = points.filter((r) => !mode.includes(r) && !hand.includes(r) && !press.includes(r));
  const parts = [el("p", { class: "faint" }, `program: ${program.program}`)];
  if (mode.length) parts.push(el("h3", {}, "Mode"), ...mode.map((r) => modeRow(r)), ...hand.map(pointRow));
  const seen = program.rows.filter((r) => r.is === "input"), done = program.rows.filter((r) => r.is === "output");
  parts.push(el("h3", {}, "Sees"), ...seen.map((r) => valueRow(r.tag, r.words)), el("h3", {}, "Gives"), ...done.map((r) => valueRow(r.path, r.words, r.tag)));
  if (rest.length) parts.push(el("h3", {}, "Set points and choices"), ...rest.map(pointRow));
  if (press.length) parts.push(el("h3", {}, "Press"), el("div", { class: "row" },
    ...press.map((r) => el("button", { onclick: () => act({ act: "set", path: r.path, value: true }), title: r.words }, last(r)))));
  return parts;
}

function modeRow(r) {
  const auto = el("button", { onclick: () => act({ act: "set", path: r.path, value: false }) }, "Automatic");
  const hand = el("button", { onclick: () => act({ act: "set", path: r.path, value: true }) }, "Hand");
  auto.dataset.path = hand.dataset.path = r.path;
  later(() => {
    const on = value(r.path) > 0.5;
    hand.setAttribute("aria-pressed", String(on));
    auto.setAttribute("aria-pressed", String(!on));
  });
  return el("div", { class: "point" }, el("div", { class: "set" }, auto, hand), el("div", { class: "words" }, r.words));
}

export function pointRow(r) {
  const name = r.path.split(".").pop();
  const now = el("b", { class: "num" });
  const row = el("div", { class: "point" }, el("div", {}, name, " ", now), el("div", { class: "words" }, r.words));
  const set = el("div", { class: "set" });
  if (r.kind === "switch") {
    const b = el("button", { "aria-label": `switch ${r.path}`, onclick: () => act({ act: "set", path: r.path, value: !(value(r.path) > 0.5) }) });
    b.dataset.path = r.path;
    later(() => { const on = value(r.path) > 0.5; now.textContent = on ? "on" : "off"; b.textContent = on ? "switch off" : "switch on"; });
    set.append(b);
  } else {
    const unit = r.unit === "1" || r.unit === "-" ? "" : r.unit;
    const range = r.low === null || r.low === undefined ? "" : `${short(r.low)} to ${short(r.high)} ${unit}`;
    const input = el("input", { inputmode: "decimal", "aria-label": `new ${r.path}`, title: range, placeholder: range });
    input.dataset.path = r.path;
    const send = async () => {
      const text = input.value.trim().replace(",", ".");
      if (text === "" || !Number.isFinite(Number(text))) { input.setAttribute("aria-invalid", "true"); return; }
      input.removeAttribute("aria-invalid");
      if (await act({ act: "set", path: r.path, value: Number(text) }) !== null) input.value = "";
    };
    input.addEventListener("keydown", (ev) => { if (ev.key === "Enter") send(); });
    const b = el("button", { onclick: send, "aria-label": `set ${r.path}` }, "Set");
    set.append(input, b);
    later(() => { now.textContent = `${r.kind === "whole" ? short(value(r.path) ?? 0) : number(value(r.path))} ${unit}`; });
  }
  row.insertBefore(set, row.lastChild);
  return row;
}

function valueRow(name, words, tag = "") {
  const now = el("b", { class: "num" });
  const known = point(name);
  later(() => { now.textContent = known?.u || !known ? `${shown(name)} ${known?.u ?? ""}` : onOff(name); });
  const trend = point(name)?.r ? name : point(tag)?.r ? tag : "";
  const b = trend ? el("button", { onclick: () => addTrend(trend), title: `trend of ${trend}` }, "trend") : null;
  return el("div", { class: "point" }, el("div", {}, tag || name.split(".").pop(), " ", now), b ?? el("span"), el("div", { class: "words" }, words));
}

function onOff(name) {
  const v = value(name), p = point(name);
  if (v === null) return "---";
  const row = store.site.programs.flatMap((q) => q.rows).find((r) => r.path === name);
  if (row?.kind === "BOOL" || p.k === "switch" || p.k === "drive" || p.k === "flag" || p.k === "motor") return v > 0.5 ? "on" : "off";
  return number(v);
}

export function openNode(n) {
  const tags = new Set([...n.values, ...n.parts]);
  for (const d of n.drives) for (const p of store.site.points) {
    if (p.k === "drive" && (p.m === `asks ${d} to run` || p.m === `asks ${d} rake to run`)) tags.add(p.n);
  }
  const programs = store.site.programs.filter((p) => p.rows.some((r) => r.is === "output" && tags.has(r.tag)));
  const reads = store.site.programs.filter((p) => !programs.includes(p) && p.rows.some((r) => r.is === "input" && tags.has(r.tag)));
  const parts = [];
  const drives = n.drives.filter((d) => point(`${d}.running`));
  if (drives.length) parts.push(el("h3", {}, "Drives"), ...drives.map((d) => {
    const now = el("b");
    later(() => {
      const tripped = value(`${d}.tripped`) > 0.5, runs = value(`${d}.running`) > 0.5;
      now.textContent = tripped ? "\u2715 tripped" : runs ? `\u25B6 runs at ${number(value(`${d}.speed`))} %` : "\u25A0 stands";
    });
    return el("div", { class: "point" }, el("div", {}, `${d === n.name && n.kind === "clarifier" ? "rake" : d} `, now), el("span"));
  }));
  const values = [...n.values, ...n.parts].filter((t) => point(t));
  if (values.length) parts.push(el("h3", {}, "Values"), ...values.map((t) => valueRow(t, point(t).m)));
  const works = store.site.works.filter((w) => w.name.endsWith(` ${n.name}`) || [...n.values, ...n.parts, ...n.drives].some((t) => w.name.endsWith(` ${t}`)));
  if (works.length) parts.push(el("h3", {}, "Ask the crew"), el("div", { class: "row" }, ...works.map(workButton)));
  if (programs.length === 1) parts.push(el("h3", {}, `Controlled by ${programs[0].name}`), ...programParts(programs[0]));
  const links = programs.length === 1 ? reads : [...programs, ...reads];
  if (links.length) parts.push(el("h3", {}, programs.length > 1 ? "Controlled by, and seen by" : "Seen by"),
    el("div", { class: "row" }, ...links.map((p) => el("button", { onclick: () => openProgram(p.name) }, p.name))));
  open(n.name, ...parts);
  live = collected(); movePlate();
}

export function workButton(w) {
  return el("button", { title: `${w.words}: about ${Math.round(w.takes / 60)} min`, onclick: () => act({ act: "field", work: w.name }) }, w.name);
}

document.addEventListener("keydown", (ev) => { if (ev.key === "Escape" && !$("plate").hidden) closePlate(); });
