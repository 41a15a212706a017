// Trends: each chosen point over the same span, its band without alarm behind it, its present value beside it.
import { $, clockOf, el, get, number, outOfBand, point, shown, store, value } from "./base.js";

const INK = "#0072b2", OTHER = "#d55e00";
let charts = [];
let chosen = [];
let last = -1;
let attempt = 0;

const key = () => `trends of ${store.site.title}`;

export function beginTrends() {
  const usual = store.site.points.filter((p) => p.r && p.b && p.k === "instrument").map((p) => p.n);
  const some = store.site.points.filter((p) => p.r && p.k === "instrument").map((p) => p.n);
  let kept = null;
  try { kept = JSON.parse(localStorage.getItem(key())); } catch { /* none kept */ }
  chosen = (Array.isArray(kept) ? kept : (usual.length >= 4 ? usual : some).slice(0, 4)).filter((n) => point(n));
  $("names").replaceChildren(...store.site.points.filter((p) => p.r).map((p) => el("option", { value: p.n }, p.m)));
  rebuild();
}

export function addTrend(name) {
  if (!point(name)?.r || chosen.includes(name)) return false;
  chosen.push(name);
  rebuild();
  return true;
}

function keep() { try { localStorage.setItem(key(), JSON.stringify(chosen)); } catch { /* not allowed */ } }

const span = () => Number($("span").value);

async function rebuild() {
  keep();
  for (const c of charts) c.plot.destroy();
  charts = [];
  $("charts").replaceChildren();
  for (const name of chosen) charts.push(make(name));
  await load();
}

function make(name) {
  const p = point(name);
  const box = el("div", { class: "chart" });
  box.dataset.point = name;
  const area = el("div", { class: "area" });
  const now = el("div", { class: "now" });
  const beside = el("div", { class: "beside" }, el("b", {}, name), now, el("span", { class: "faint" }, p.u),
    el("button", { class: "close", title: `remove the trend of ${name}`, "aria-label": `remove the trend of ${name}`,
      onclick: () => { chosen = chosen.filter((n) => n !== name); rebuild(); } }, "\u2715"));
  box.append(area, beside);
  $("charts").append(box);
  const band = p.b;
  const options = {
    width: 200, height: 90, cursor: { show: false }, legend: { show: false }, padding: [6, 14, 0, 0],
    scales: { x: { time: false }, y: { range: (u, low, high) => range(low, high, band) } },
    axes: [
      { size: 20, font: "10px sans-serif", stroke: "#5b636a", grid: { stroke: "#e3e6e8", width: 1 }, ticks: { show: false },
        splits: (u) => hours(u.scales.x.min, u.scales.x.max), values: (u, v) => v.map((s) => clockOf(s).toISOString().slice(11, 16)) },
      { size: 40, font: "10px sans-serif", stroke: "#5b636a", grid: { stroke: "#e3e6e8", width: 1 }, ticks: { show: false },
        values: (u, v) => v.map(number) },
    ],
    series: [{}, { stroke: INK, width: 1.7, points: { show: false } },
      { stroke: OTHER, width: 1.4, dash: [6, 4], points: { show: false }, spanGaps: true }],
    hooks: { drawClear: [(u) => shade(u, band)] },
  };
  const plot = new uPlot(options, [[0], [null], [null]], area);
  const chart = { name, plot, box, now, area, t: [], v: [], other: [] };
  new ResizeObserver(() => size(chart)).observe(area);
  return chart;
}

function size(c) {
  const { clientWidth: width, clientHeight: height } = c.area;
  if (width > 20 && height > 20) c.plot.setSize({ width, height });
}

function hours(low, high) {
  const wide = high - low, step = [300, 600, 900, 1800, 3600, 7200, 14400, 28800].find((s) => wide / s <= 5) ?? 86400;
  const base = clockOf(0).getTime() / 1000 % 86400;
  const marks = [];
  for (let s = Math.ceil((low + base) / step) * step - base; s <= high; s += step) marks.push(s);
  return marks;
}

function range(low, high, band) {
  let a = low ?? 0, b = high ?? 1;
  if (band) { if (band[0] !== null) a = Math.min(a, band[0]); if (band[1] !== null) b = Math.max(b, band[1]); }
  const room = (b - a || Math.abs(b) || 1) * 0.06;
  return [a - room, b + room];
}

// the band without alarm, in grey
function shade(u, band) {
  if (!band) return;
  const { left, top, width, height } = u.bbox;
  const y = (v) => Math.max(top, Math.min(top + height, u.valToPos(v, "y", true)));
  const a = band[1] === null ? top : y(band[1]), b = band[0] === null ? top + height : y(band[0]);
  u.ctx.fillStyle = "#e6e9eb";
  u.ctx.fillRect(left, a, width, b - a);
}

export async function load() {
  if (!chosen.length || !store.state) return;
  attempt = store.state.attempt;
  const to = store.state.t, from = Math.max(0, to - span());
  const query = (n) => `/api/trend?names=${encodeURIComponent(chosen.join(","))}&from=${from}&to=${to + 1}&attempt=${n}`;
  try {
    const found = await get(query(0));
    const beside = $("beside").value;
    const other = beside ? await get(query(beside).replace(`to=${to + 1}`, `to=${to + span()}`)) : null;
    for (const c of charts) {
      c.t = found.t.slice();
      c.v = (found.series[c.name] ?? found.t.map(() => null)).slice();
      c.otherT = other?.t ?? [];
      c.otherV = other?.series[c.name] ?? [];
    }
    last = to;
    draw();
  } catch { /* the next state tries again */ last = -1; }
}

export function moveTrends() {
  const t = store.state.t;
  if (store.state.attempt !== attempt || t < last || t - last > span() || last < 0) { load(); return; }
  if (t > last) {
    for (const c of charts) { c.t.push(t); c.v.push(value(c.name)); }
    last = t;
    if (charts[0]?.t.length > 3000) { load(); return; }
  }
  draw();
}

function draw() {
  const to = store.state.t, from = to - span();
  for (const c of charts) {
    const [t, v, o] = merged(c);
    c.plot.setData([t, v, o], false);
    c.plot.setScale("x", { min: from, max: to });
    c.now.textContent = shown(c.name);
    c.box.classList.toggle("away", Boolean(outOfBand(c.name)));
  }
}

function merged(c) {
  if (!c.otherT?.length) return [c.t, c.v, c.t.map(() => null)];
  const all = [...new Set([...c.t, ...c.otherT])].sort((a, b) => a - b);
  const mine = new Map(c.t.map((t, i) => [t, c.v[i]])), theirs = new Map(c.otherT.map((t, i) => [t, c.otherV[i]]));
  return [all, all.map((t) => mine.get(t) ?? null), all.map((t) => theirs.get(t) ?? null)];
}

$("span").addEventListener("change", load);
$("beside").addEventListener("change", load);
$("add-trend").addEventListener("change", (ev) => { if (addTrend(ev.target.value)) ev.target.value = ""; });
