// The plant picture: drawn once from the site, then only its values move.
import { $, el, isTrainer, number, outOfBand, point, shown, store, svg, value } from "./base.js";
import { openNode } from "./plate.js";

const W = 182, H = 110, BOX = 156, TALL = 92;
let live = [];

const centre = (n) => [n.column * W + W / 2, n.row * H + H / 2];

export function drawPicture() {
  const { nodes, edges } = store.site.picture;
  const top = Math.min(...nodes.map((n) => n.row));
  for (const n of nodes) n.row -= store.site.picture.top ?? 0;
  if (store.site.picture.top === undefined) {
    store.site.picture.top = top;
    for (const n of nodes) n.row -= top;
  }
  const columns = Math.max(...nodes.map((n) => n.column)) + 1, rows = Math.max(...nodes.map((n) => n.row)) + 1;
  const picture = $("picture");
  picture.replaceChildren();
  picture.setAttribute("viewBox", `0 0 ${columns * W} ${rows * H}`);
  picture.setAttribute("preserveAspectRatio", "xMidYMid meet");
  live = [];
  const byName = new Map(nodes.map((n) => [n.name, n]));
  for (const e of edges) picture.append(pipe(byName.get(e.from), byName.get(e.to), e));
  for (const n of nodes) picture.append(node(n));
  movePicture();
}

function pipe(a, b, e) {
  const [ax, ay] = centre(a), [bx, by] = centre(b);
  let d;
  if (a.row === b.row && Math.abs(a.column - b.column) === 1) d = `M${ax} ${ay} L${bx} ${by}`;
  else if (a.column === b.column && Math.abs(a.row - b.row) === 1) d = `M${ax} ${ay} L${bx} ${by}`;
  else {
    // between two rows, in the gap above the target or below the source
    const gap = (a.row <= b.row ? b.row * H : (b.row + 1) * H) + (e.back ? -3 : 3);
    const lane = e.what === "clean" ? -16 : e.what === "mud" ? 16 : 8;
    d = `M${ax + lane} ${ay} L${ax + lane} ${gap} L${bx + lane} ${gap} L${bx + lane} ${by}`;
  }
  return svg("path", { d, class: `pipe ${e.what}${e.back ? " back" : ""}` });
}

function node(n) {
  const [cx, cy] = centre(n), x = cx - BOX / 2, y = cy - TALL / 2;
  const group = svg("g", { class: "node", tabindex: "0", role: "button", "aria-label": `${n.name}, open`, transform: `translate(${x} ${y})` });
  group.dataset.unit = n.name;
  group.append(svg("rect", { class: "box", width: BOX, height: TALL, rx: n.kind === "line" ? 18 : 3 }));
  const name = svg("text", { class: "name", x: 7, y: 14 });
  name.textContent = n.name;
  group.append(name);
  const open = () => openNode(n);
  group.addEventListener("click", open);
  group.addEventListener("keydown", (ev) => { if (ev.key === "Enter" || ev.key === " ") { ev.preventDefault(); open(); } });

  let left = 7;
  const gauge = n.values.find((t) => point(t) && /level|height/.test(point(t).m) && n.kind !== "bank");
  if (gauge) {
    left = 34;
    group.append(svg("rect", { class: "vessel", x: 7, y: 22, width: 20, height: 62 }));
    const fill = svg("rect", { class: n.kind === "clarifier" ? "mud-level" : "level", x: 8, width: 18 });
    group.append(fill);
    const top = topOf(gauge);
    live.push(() => {
      const part = Math.max(0, Math.min(1, (value(gauge) ?? 0) / top));
      fill.setAttribute("height", 60 * part);
      fill.setAttribute("y", 23 + 60 * (1 - part));
    });
  }
  const drives = n.drives.filter((d) => point(`${d}.running`));
  drives.slice(0, 4).forEach((d, i) => group.append(...drive(d, BOX - 12 - 19 * (drives.length - 1 - i), 12)));
  if (n.kind === "bank") { bars(group, n); return group; }
  const lines = n.values.filter((t) => point(t));
  const room = Math.min(lines.length, 4);
  lines.slice(0, 4).forEach((t, i) => reading(group, t, left, 30 + i * (room > 3 ? 15.5 : 18)));
  if (!lines.length && drives.length === 1) {
    const text = svg("text", { class: "val", x: BOX - 8, y: 52 });
    group.append(text);
    const p = `${drives[0]}.speed`;
    live.push(() => { text.textContent = value(p) === null ? "" : `${number(value(p))} % speed`; });
  }
  if (n.kind === "source") {
    const text = svg("text", { class: "val", x: BOX - 8, y: 50 });
    group.append(text);
    const permit = store.site.points.find((p) => p.k === "flag" && /wash plant may run/.test(p.m));
    if (permit) live.push(() => { text.textContent = value(permit.n) > 0.5 ? "may run" : "\u25A0 held"; });
  }
  return group;
}

function topOf(tag) {
  const band = point(tag).b;
  return Math.max(...[band?.[1] ? band[1] * 1.15 : 0, point(tag).hi ?? 0, 1]);
}

// A tag with its value, a small scale with the band without alarm, and a pointer on it.
function reading(group, tag, x, y) {
  const p = point(tag), band = p.b;
  const label = svg("text", { class: "tag", x, y });
  label.textContent = tag;
  const text = svg("text", { class: "val", x: BOX - 8, y });
  group.append(label, text);
  let pointer, low = 0, high = 1;
  if (band) {
    [low, high] = scaleOf(band);
    const at = (v) => x + 44 * Math.max(0, Math.min(1, (v - low) / (high - low)));
    const a = at(band[0] ?? low), b = at(band[1] ?? high);
    group.append(svg("rect", { class: "range", x, y: y + 3.5, width: 44, height: 3.5 }),
      svg("rect", { class: "band", x: a, y: y + 3.5, width: b - a, height: 3.5 }));
    pointer = svg("path", { class: "pointer" });
    group.append(pointer);
  }
  let truth;
  if (isTrainer()) {
    truth = svg("text", { class: "tag true", x, y });
    group.append(truth);
  }
  live.push(() => {
    const v = value(tag);
    text.textContent = `${shown(tag)} ${p.u}${outOfBand(tag) ? " \u25C6" : ""}`;
    if (pointer && v !== null) {
      const px = x + 44 * Math.max(0, Math.min(1, (v - low) / (high - low)));
      pointer.setAttribute("d", `M${px} ${y + 7.5} l-2.4 -4.6 h4.8 z`);
    }
    if (truth) {
      const on = $("truth").checked;
      const v = number(value(`${tag}.true`));
      truth.textContent = on ? (v.length > 4 ? v : `true ${v}`) : "";
      label.textContent = on ? "" : tag;
    }
  });
}

export function scaleOf(band) {
  const [a, b] = band;
  if (a !== null && b !== null) { const w = (b - a) * 0.25; return [a - w, b + w]; }
  if (b !== null) return [0, b * 1.3 || 1];
  return [0, a * 3 || 1];
}

function drive(name, x, y) {
  const circle = svg("circle", { class: "drive", cx: x, cy: y, r: 7.5 });
  const mark = svg("text", { class: "drive-mark", x, y: y + 3 });
  const title = svg("title");
  circle.append(title);
  live.push(() => {
    const runs = value(`${name}.running`) > 0.5, tripped = value(`${name}.tripped`) > 0.5;
    circle.setAttribute("class", `drive${runs ? " runs" : ""}${tripped ? " tripped" : ""}`);
    mark.textContent = tripped ? "\u2715" : runs ? "\u25B6" : "\u25A0";
    title.textContent = `${name}: ${tripped ? "tripped" : runs ? "runs" : "stands"}`;
  });
  return [circle, mark];
}

// Mud cells side by side: level, and which one is being filled.
function bars(group, n) {
  const tags = n.values.filter((t) => point(t)).slice(0, 8);
  const width = (BOX - 14) / Math.max(tags.length, 1);
  tags.forEach((t, i) => {
    const x = 7 + i * width;
    group.append(svg("rect", { class: "vessel", x, y: 24, width: width - 3, height: 46 }));
    const fill = svg("rect", { class: "mud-level", x: x + 1, width: width - 5 });
    const text = svg("text", { class: "tag", x, y: 83 });
    group.append(fill, text);
    live.push(() => {
      const part = Math.max(0, Math.min(1, (value(t) ?? 0) / 2));
      fill.setAttribute("height", 44 * part);
      fill.setAttribute("y", 25 + 44 * (1 - part));
      text.textContent = Math.max(0, value(t) ?? 0).toFixed(1);
    });
  });
  const unit = svg("text", { class: "tag", x: BOX - 12, y: 14, "text-anchor": "end" });
  unit.textContent = "mud, m";
  group.append(unit);
}

export function movePicture() { for (const move of live) move(); }

export const unitList = () => el("div", {}, ...store.site.picture.nodes.map((n) => el("button", { onclick: () => openNode(n) }, n.name)));
