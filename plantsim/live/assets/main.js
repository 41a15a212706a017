// The page: enter, hear the states, hand them to the parts, come back when the server does.
import { $, act, el, get, isTrainer, post, store, tell } from "./base.js";
import { showAlarms } from "./alarms.js";
import { beginPanels, movePanels } from "./panels.js";
import { drawPicture, movePicture } from "./picture.js";
import { closePlate, movePlate } from "./plate.js";
import { beginTrends, moveTrends } from "./trends.js";

const SPEEDS = [1, 10, 60, 300, 600];
let socket = null;
let loading = false;
let heard = 0;
let wait = 500;

async function begin() {
  const who = await get("/api/who");
  $("title").textContent = who.title;
  if (!who.role) { showDoor(who.asks); return; }
  $("door").hidden = true;
  connect();
}

function showDoor(asks) {
  $("door").hidden = false;
  $("work").hidden = true;
  $("password-row").hidden = !asks;
}

$("enter").addEventListener("submit", async (ev) => {
  ev.preventDefault();
  const form = new FormData(ev.target);
  try {
    await post("/enter", { role: form.get("role"), name: form.get("name") ?? "", password: form.get("password") ?? "" });
    $("enter-wrong").textContent = "";
    await begin();
  } catch (error) { $("enter-wrong").textContent = error.message; }
});

function connect() {
  socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live`);
  socket.addEventListener("message", (ev) => { heard = performance.now(); wait = 500; take(JSON.parse(ev.data)); });
  socket.addEventListener("close", async () => {
    lost();
    await new Promise((done) => setTimeout(done, wait));
    wait = Math.min(wait * 1.6, 5000);
    try {
      const who = await get("/api/who");
      if (!who.role) { store.site = null; showDoor(who.asks); return; }
      store.site = null;  // the server may have another session now
    } catch { /* not back yet */ }
    connect();
  });
}

function lost() {
  $("connection").textContent = "connection lost, values stand still";
  $("connection").className = "lost";
}

setInterval(() => { if (!$("work").hidden && performance.now() - heard > 3000) lost(); }, 1000);

async function take(state) {
  if (loading) return;
  if (!store.site || store.site.version !== state.version) {
    loading = true;
    try { await loadSite(state); } finally { loading = false; }
    return;
  }
  store.state = state;
  show();
}

async function loadSite(state) {
  let site;
  try { site = await get("/api/site"); } catch { return; }
  if (site.version !== state.version) return;
  store.site = site;
  store.index = new Map(site.points.map((p, i) => [p.n, i]));
  store.state = state;
  document.body.classList.toggle("trainer", isTrainer());
  document.title = `${site.title}: ${site.role}`;
  $("title").textContent = site.title;
  $("work").hidden = false;
  $("door").hidden = true;
  header();
  closePlate();
  drawPicture();
  await beginPanels();
  beginTrends();
  show();
}

function header() {
  const pace = $("pace");
  pace.replaceChildren();
  if (isTrainer()) {
    pace.append(el("button", { id: "run", onclick: () => act({ act: store.state.running ? "pause" : "run" }) }, "Run"),
      el("button", { id: "minute", onclick: () => act({ act: "minute" }), title: "one minute, then stand" }, "+1 min"));
    for (const s of SPEEDS) {
      const b = el("button", { onclick: () => act({ act: "speed", speed: s }), title: `${s} simulated seconds in one second` }, `${s}x`);
      b.dataset.speed = s;
      pace.append(b);
    }
  }
  pace.append(el("span", { id: "pace-words" }));
  $("me").replaceChildren(el("span", {}, `${store.site.role}: ${store.site.name}`), el("button", { onclick: async () => { await post("/leave", {}); location.reload(); } }, "Leave"));
}

function show() {
  const s = store.state;
  $("connection").textContent = s.fault ? `\u25B2 ${s.fault}` : "";
  $("connection").className = s.fault ? "lost" : "";
  $("time").textContent = s.clock.slice(11, 19);
  $("date").textContent = new Date(`${s.clock.slice(0, 10)}T00:00:00Z`).toUTCString().slice(0, 11);
  const words = `${s.running ? `runs at ${s.speed}x` : "\u25A0 time stands"}${s.attempt > 1 ? `, attempt ${s.attempt}` : ""}${s.late > 1 ? `, machine too slow by ${s.late} s` : ""}`;
  $("pace-words").textContent = words;
  if (isTrainer()) {
    $("run").textContent = s.running ? "\u25A0 Pause" : "\u25B6 Run";
    for (const b of $("pace").querySelectorAll("[data-speed]")) b.setAttribute("aria-pressed", String(Number(b.dataset.speed) === s.speed));
    const beside = $("beside"), numbers = (s.attempts ?? []).filter((a) => a.number !== s.attempt).map((a) => a.number);
    if (beside.dataset.have !== numbers.join()) {
      beside.dataset.have = numbers.join();
      beside.replaceChildren(el("option", { value: "" }, "no attempt"), ...numbers.map((n) => el("option", { value: n }, `attempt ${n}`)));
    }
  }
  movePicture();
  showAlarms();
  movePlate();
  movePanels();
  moveTrends();
  document.body.dataset.sequence = s.n;
  document.body.dataset.tick = s.tick;
}

$("truth").addEventListener("change", movePicture);
begin().catch(() => { tell("the server does not answer; trying again"); setTimeout(() => location.reload(), 3000); });
