// The alarm list: what waits for an answer comes first, then by priority; shape, letter, word and colour together.
import { $, act, el, hhmm, length, number, store, svg } from "./base.js";

const RANK = { critical: 0, high: 1, medium: 2, low: 3 };
const LOOK = {
  critical: ["var(--critical)", "M11 1 L21 19 L1 19 Z", "1"], high: ["var(--high)", "M11 0 L22 10 L11 20 L0 10 Z", "2"],
  medium: ["var(--medium)", "M1 1 H21 V19 H1 Z", "3"], low: ["var(--low)", "M11 1 a9 9 0 1 0 .01 0 Z", "4"],
};
const WAITS = new Set(["unacknowledged", "returned unacknowledged", "latched unacknowledged"]);
const SHELF = new Set(["shelved", "suppressed by design", "out of service"]);
let before = "";

export function badge(priority, filled = true) {
  const [colour, d, letter] = LOOK[priority] ?? LOOK.low;
  const shape = svg("svg", { viewBox: "0 0 22 20", "aria-hidden": "true" },
    svg("path", { d, fill: filled ? colour : "#fff", stroke: "#23282d", "stroke-width": 1.4 }));
  const words = el("span", {}, letter);
  return el("span", { class: "badge", title: `${priority} priority` }, shape, words);
}

export const standing = () => store.state.alarms.filter((a) => !SHELF.has(a[1]));

export function showAlarms() {
  const key = JSON.stringify(store.state.alarms.map((a) => [a[0], a[1]])) + store.site.version;
  const waiting = store.state.alarms.filter((a) => WAITS.has(a[1])).length;
  $("alarm-count").textContent = `${standing().length} standing, ${waiting} to acknowledge`;
  $("ack-all").disabled = !waiting;
  if (key === before) { freshen(); return; }
  before = key;
  const sheets = new Map(store.site.alarms.map((a) => [a.n, a]));
  const rank = (a) => (SHELF.has(a[1]) ? 20 : WAITS.has(a[1]) ? 0 : 10) + (RANK[sheets.get(a[0])?.priority] ?? 4);
  const rows = [...store.state.alarms].sort((a, b) => rank(a) - rank(b) || b[2] - a[2]);
  const list = $("alarm-list");
  const focused = document.activeElement?.dataset?.key;
  list.replaceChildren(...rows.map((a) => line(a, sheets.get(a[0]))));
  if (!rows.length) {
    list.append(el("p", { class: "quiet" }, store.site.alarms.length ? "No alarm stands." : "This plant file has no alarms."));
  }
  if (focused) list.querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus();
  freshen();
}

function line(a, sheet) {
  const [name, state] = a;
  const waits = WAITS.has(state), shelf = SHELF.has(state);
  const row = el("div", { class: `alarm${waits ? " new" : ""}`, role: "listitem" }, badge(sheet.priority, !shelf && state !== "returned unacknowledged"));
  row.dataset.alarm = name;
  const what = el("div", { class: "what" }, el("div", {}, `${name}  `, el("span", { class: "faint" }, sheet.when)), el("div", { class: "state" }));
  row.append(what);
  const acts = el("div", { class: "acts" });
  const button = (words, body, title) => {
    const b = el("button", { onclick: () => act(body), title }, words);
    b.dataset.key = `${words}:${name}`;
    return b;
  };
  if (waits) acts.append(button("Ack", { act: "ack", names: [name] }, `acknowledge ${name}`));
  if (state === "latched acknowledged") acts.append(button("Reset", { act: "alarm-reset", names: [name] }, `reset ${name}`));
  if (state === "shelved") acts.append(button("Unshelve", { act: "unshelve", name }, `take ${name} off the shelf`));
  const help = el("button", { "aria-expanded": "false", title: `what ${name} means` }, "?");
  help.dataset.key = `?:${name}`;
  const minutes = el("select", { "aria-label": `time on the shelf for ${name}` }, ...[15, 30, 60, 120].map((m) => el("option", { value: m }, `${m} min`)));
  const more = el("div", { class: "state", hidden: true },
    el("div", {}, `If nobody acts: ${sheet.consequence}.`), el("div", {}, `Do: ${sheet.action}.`), el("div", {}, `Within ${length(sheet.within)}.`),
    shelf ? null : el("div", { class: "row" }, el("button", { onclick: () => act({ act: "shelve", name, minutes: Number(minutes.value) }) }, "Shelve"), minutes));
  help.addEventListener("click", () => {
    more.hidden = !more.hidden;
    help.setAttribute("aria-expanded", String(!more.hidden));
  });
  acts.append(help);
  row.append(acts, more);
  more.style.gridColumn = "1 / -1";
  return row;
}

function freshen() {
  const rows = new Map(store.state.alarms.map((a) => [a[0], a]));
  const sheets = new Map(store.site.alarms.map((a) => [a.n, a]));
  for (const row of $("alarm-list").querySelectorAll(".alarm")) {
    const a = rows.get(row.dataset.alarm);
    if (!a) continue;
    const sheet = sheets.get(a[0]);
    row.querySelector(".state").textContent =
      `${sheet.priority}, ${a[1]}${a[4] ? ", came first" : ""}; since ${hhmm(a[2])}; now ${number(a[3])} ${sheet.unit}`;
  }
}

$("ack-all").addEventListener("click", () => act({ act: "ack", names: [] }));
