// What all parts of the page share: the store of what is known, asking the server, and making elements.

export const store = { site: null, state: null, index: new Map(), listeners: [], journal: [] };

export const $ = (id) => document.getElementById(id);

// An element with attributes and children; text is always set as text, never as markup.
export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "class") node.className = value;
    else if (value === true) node.setAttribute(key, "");
    else if (value !== false && value != null) node.setAttribute(key, value);
  }
  node.append(...children.filter((c) => c != null));
  return node;
}

const SVG = "http://www.w3.org/2000/svg";
export function svg(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children.filter((c) => c != null));
  return node;
}

export async function get(path) {
  const answer = await fetch(path, { credentials: "same-origin" });
  if (!answer.ok) throw new Error(`${answer.status}`);
  return answer.json();
}

export async function post(path, body) {
  const answer = await fetch(path, {
    method: "POST", credentials: "same-origin", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
  });
  let said = {};
  try { said = await answer.json(); } catch { /* no answer in words */ }
  if (!answer.ok) throw new Error(said.refused || `the server says ${answer.status}`);
  return said;
}

let quiet;
export function tell(words) {
  $("told").textContent = words;
  clearTimeout(quiet);
  quiet = setTimeout(() => { $("told").textContent = ""; }, 6000);
}

// Ask for an act; what is refused is told in words.
export async function act(body) {
  try {
    return (await post("/api/act", body)).done;
  } catch (error) {
    tell(error.message);
    return null;
  }
}

export const isTrainer = () => store.site?.role === "trainer";
export const point = (name) => store.site?.points[store.index.get(name)];
export function value(name) {
  const at = store.index.get(name);
  return at === undefined || !store.state ? null : store.state.v[at];
}

export function shown(name, v = value(name)) {
  const p = point(name);
  if (v === null || v === undefined) return "---";
  if (!p) return number(v);
  if (p.k === "switch" || p.k === "drive" || (p.k === "flag" && !p.u)) return v > 0.5 ? "on" : "off";
  return number(v);
}

export function number(v) {
  if (v === null || v === undefined) return "---";
  const size = Math.abs(v);
  if (size !== 0 && size < 0.005) return v.toExponential(1);
  return v.toFixed(size >= 100 ? 0 : size >= 10 ? 1 : 2);
}

// A bound or a whole number, as short as it can be said.
export const short = (v) => String(Number(Number(v).toPrecision(4)));

export const outOfBand = (name, v = value(name)) => {
  const band = point(name)?.b;
  return band && v !== null && ((band[0] !== null && v < band[0]) || (band[1] !== null && v > band[1]));
};

// Calendar time of seconds since the start of the plant.
export function clockOf(seconds) {
  return new Date(Date.parse(store.site.start + "Z") + seconds * 1000);
}
export function hhmm(seconds) {
  return clockOf(seconds).toISOString().slice(11, 16);
}
export function length(seconds) {
  const s = Math.max(0, Math.round(seconds));
  const h = Math.floor(s / 3600), m = Math.floor((s % 3600) / 60);
  return h ? `${h} h ${m} min` : m ? `${m} min` : `${s} s`;
}

export function listen(listener) { store.listeners.push(listener); }
