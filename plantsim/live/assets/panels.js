// The panels at the side: lesson, programs, crew, journal; for the trainer upsets, time and lessons too.
import { $, act, el, get, hhmm, isTrainer, length, number, store } from "./base.js";
import { openProgram, pointRow, workButton } from "./plate.js";

let current = "";
let built = "";
let lines = [];

const TABS = {
  lesson: ["Lesson", lessonPanel], programs: ["Programs", programsPanel], crew: ["Crew", crewPanel], journal: ["Journal", journalPanel],
  upsets: ["Upsets", upsetsPanel], time: ["Time", timePanel], lessons: ["Lessons", lessonsPanel],
};

export async function beginPanels() {
  const names = isTrainer() ? ["upsets", "time", "lessons", "programs", "crew", "journal"] : ["programs", "crew", "journal"];
  if (store.state?.lesson) names.unshift("lesson");
  $("tabs").replaceChildren(...names.map((name) => {
    const b = el("button", { role: "tab", id: `tab-${name}`, onclick: () => choose(name) }, TABS[name][0]);
    b.addEventListener("keydown", (ev) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[ev.key];
      if (step) { const i = (names.indexOf(name) + step + names.length) % names.length; choose(names[i]); $(`tab-${names[i]}`).focus(); }
    });
    return b;
  }));
  try { lines = await get("/api/journal"); } catch { lines = []; }
  choose(names.includes(current) ? current : names[0]);
}

function choose(name) {
  current = name;
  for (const b of $("tabs").children) {
    b.setAttribute("aria-selected", String(b.id === `tab-${name}`));
    b.tabIndex = b.id === `tab-${name}` ? 0 : -1;
  }
  built = "";
  $("panel").setAttribute("aria-labelledby", `tab-${name}`);
  movePanels();
}

let moves = [];

export function movePanels() {
  if (!store.state || !current) return;
  if (store.state.journal) {
    const have = new Set(lines.map((l) => l.n));
    lines.push(...store.state.journal.filter((l) => !have.has(l.n)));
    lines = lines.slice(-400);
  }
  if (Boolean(store.state.lesson) !== Boolean($("tab-lesson"))) { beginPanels(); return; }
  const key = stamp();
  if (key !== built && !$("panel").contains(document.activeElement?.closest("input, select, textarea"))) {
    built = key;
    moves = [];
    $("panel").replaceChildren(...TABS[current][1]());
  }
  for (const move of moves) move();
}

// What a panel is built anew for; all else in it only moves.
function stamp() {
  const s = store.state;
  const parts = {
    journal: [lines.length, lines.at(-1)?.n], upsets: [JSON.stringify(s.upsets)], time: [JSON.stringify(s.saves), s.attempts?.length],
    lesson: [s.lesson?.name, s.lesson?.hints?.length, s.lesson?.debriefs?.join(), s.lesson?.judging, s.lesson?.failed], crew: [s.samples?.length],
  };
  return `${current} ${store.site.version} ${parts[current] ?? ""}`;
}

function lessonPanel() {
  const l = store.state.lesson, parts = [];
  if (l?.title) {
    const left = el("b");
    moves.push(() => { left.textContent = length(store.state.lesson?.left ?? 0); });
    parts.push(el("h2", {}, l.title), el("p", {}, "time left ", left), ...l.briefing.map((p) => el("p", {}, p)),
      el("h3", {}, "Goals"), el("ul", {}, ...l.goals.map((g) => el("li", {}, g))),
      ...l.hints.map((h) => el("div", { class: "card" }, h)));
  }
  if (l?.judging) parts.push(el("p", { class: "card" }, "The attempt is being judged ..."));
  if (l?.failed) parts.push(el("p", { class: "warn" }, `It could not be judged: ${l.failed}`));
  for (const n of l?.debriefs ?? []) {
    parts.push(el("p", {}, el("a", { href: `/debrief/${n}/`, target: "_blank", class: "debrief" }, `Debrief and score of attempt ${n}`)));
  }
  if (isTrainer()) parts.push(el("button", { id: "finish", onclick: () => act({ act: "finish" }) }, "Judge this attempt"));
  return parts;
}

function programsPanel() {
  const hand = el("p", { class: "faint" });
  moves.push(() => {
    const on = store.site.programs.flatMap((p) => p.rows).filter((r) => r.path.endsWith(".hand") && store.state.v[store.index.get(r.path)] > 0.5);
    hand.textContent = on.length ? `In hand: ${on.map((r) => r.path.split(".")[0]).join(", ")}` : "All programs are in automatic.";
  });
  return [hand, el("div", { class: "list" }, ...store.site.programs.map((p) => el("button", { onclick: () => openProgram(p.name) }, `${p.name} `,
    el("span", { class: "faint" }, p.program))))];
}

function crewPanel() {
  const parts = [el("p", { class: "faint" }, "The crew goes and does it; that takes its time.")];
  const verbs = [...new Set(store.site.works.map((w) => w.name.split(" ")[0]))];
  for (const verb of verbs) {
    parts.push(el("h3", {}, verb), el("div", { class: "row" }, ...store.site.works.filter((w) => w.name.split(" ")[0] === verb)
      .map((w) => { const b = workButton(w); b.textContent = w.name.slice(verb.length + 1); b.setAttribute("aria-label", w.name); return b; })));
  }
  const samples = store.state.samples ?? [];
  if (samples.length) {
    parts.unshift(el("h3", {}, "Hand samples"), el("table", {}, ...samples.slice().reverse().map((s) => {
      const p = store.site.points[store.index.get(s.tag)];
      return el("tr", {}, el("td", {}, hhmm(s.t)), el("td", {}, `beside ${s.tag}`), el("td", { class: "num" }, `${number(s.v)} ${p?.u ?? ""}`));
    })));
  }
  if (store.site.switches.length) {
    const rows = store.site.switches.map((s) => pointRow(s));
    parts.push(el("h3", {}, "Hand switches"), ...rows);
  }
  return parts;
}

function journalPanel() {
  const text = el("input", { maxlength: "400", placeholder: "a note", "aria-label": "note" });
  const send = async () => { if (text.value.trim() && await act({ act: "note", text: text.value.trim() }) !== null) { text.value = ""; text.blur(); } };
  text.addEventListener("keydown", (ev) => { if (ev.key === "Enter") send(); });
  return [el("div", { class: "row" }, text, el("button", { onclick: send }, "Note")),
    el("table", {}, ...lines.slice(-120).reverse().map((l) => el("tr", {}, el("td", {}, hhmm(l.t)), el("td", {}, l.who || l.role),
      el("td", {}, l.words, l.hidden ? el("span", { class: "faint" }, " (hidden from the operator)") : ""))))];
}

function upsetsPanel() {
  const parts = [];
  const at = store.state.upsets ?? [];
  if (at.length) {
    parts.push(el("h3", {}, "In this attempt"), ...at.slice().reverse().map((u) => el("div", { class: "card row" }, el("div", {}, u.words,
      el("span", { class: "faint" }, ` ${u.status}${u.begun === null ? "" : ` since ${hhmm(u.begun)}`}${u.hidden ? ", hidden" : ""}`)),
    u.status === "over" ? null : el("button", { onclick: () => act({ act: "end-upset", entry: u.entry }) }, "End"))),
    el("button", { onclick: () => act({ act: "reveal" }) }, "Tell the operator what was hidden"));
  }
  const select = el("select", { id: "upset", "aria-label": "upset" }, ...store.site.upsets.map((u) => el("option", { value: u.name }, `${u.number}. ${u.title}${u.here ? "" : " (not tested on this plant)"}`)));
  const about = el("div", { class: "card" }), given = el("div");
  const when = el("select", { id: "when", "aria-label": "when" }, el("option", { value: "" }, "now"), el("option", { value: "after" }, "after"), el("option", { value: "within" }, "at random within"));
  const time = el("input", { value: "10 min", size: "7", "aria-label": "time", id: "when-time" });
  const hidden = el("input", { type: "checkbox", checked: true, id: "upset-hidden" });
  const show = () => {
    const u = store.site.upsets.find((x) => x.name === select.value);
    if (!u) return;
    about.replaceChildren(el("div", {}, `Cause: ${u.cause}.`), el("div", { class: "faint" }, `If nobody acts: ${u.consequence}.`),
      ...u.cautions.map((c) => el("div", { class: "warn" }, `Caution: ${c}`)));
    given.replaceChildren(...u.parameters.map((p) => {
      const input = el("input", { value: p.value, size: "9", "aria-label": p.name, title: `${p.low} to ${p.high}` });
      input.dataset.parameter = p.name;
      input.dataset.usual = p.value;
      return el("label", { class: "row" }, `${p.words} `, input);
    }));
  };
  select.addEventListener("change", show);
  show();
  const start = async () => {
    const body = { act: "upset", upset: select.value, hidden: hidden.checked };
    if (when.value) body[when.value] = time.value;
    const changed = [...given.querySelectorAll("input")].filter((i) => i.value !== i.dataset.usual);
    if (changed.length) body.with = Object.fromEntries(changed.map((i) => [i.dataset.parameter, i.value]));
    document.activeElement?.blur();
    await act(body);
  };
  parts.push(el("h3", {}, "Upset"), el("div", { class: "row" }, select), about, given,
    el("div", { class: "row" }, when, time, el("label", {}, hidden, " hidden"), el("button", { onclick: start, id: "start-upset" }, "Start")));
  const what = el("input", { placeholder: "AT-201.bias, P-101.trip ...", "aria-label": "what is set", list: "causes" });
  const causes = el("datalist", { id: "causes" }, ...store.site.causes.map((c) => el("option", { value: c })));
  const to = el("input", { placeholder: "to: 10 %, on, x1.2", size: "9", "aria-label": "to what" });
  const lasts = el("input", { placeholder: "for: 1 h", size: "7", "aria-label": "for how long" });
  const ramp = el("input", { placeholder: "ramp: 10 min", size: "8", "aria-label": "ramp" });
  const set = async () => {
    const body = { act: "cause", set: what.value.trim(), to: to.value.trim(), hidden: hidden.checked };
    if (lasts.value.trim()) body.for = lasts.value.trim();
    if (ramp.value.trim()) body.ramp = ramp.value.trim();
    document.activeElement?.blur();
    await act(body);
  };
  parts.push(el("h3", {}, "Single cause: a fault of an instrument, a machine, the water"),
    el("div", { class: "row" }, what, causes, to, lasts, ramp, el("button", { onclick: set }, "Set")));
  return parts;
}

function timePanel() {
  const name = el("input", { placeholder: "name of a save point", maxlength: "60", "aria-label": "name of a save point" });
  const save = async () => { if (name.value.trim() && await act({ act: "save", name: name.value.trim() }) !== null) { name.value = ""; name.blur(); } };
  const minutes = el("input", { value: "30", size: "5", inputmode: "decimal", "aria-label": "minutes to go back", id: "back-minutes" });
  const goBack = (seconds) => act({ act: "back", seconds });
  const parts = [el("div", { class: "row" }, name, el("button", { onclick: save }, "Save point")),
    el("div", { class: "row" }, "go back ", minutes, " min", el("button", { id: "go-back", onclick: () => {
      const m = Number(minutes.value.replace(",", "."));
      document.activeElement?.blur();
      if (Number.isFinite(m) && m > 0) goBack(Math.max(store.site.begins, store.state.t - 60 * m));
    } }, "Go back"))];
  parts.push(el("h3", {}, "Save points"), ...(store.state.saves ?? []).map((s) => el("div", { class: "row" }, `${hhmm(s.t)} ${s.name}`,
    el("button", { onclick: () => goBack(s.t) }, "Go back to it"))),
  el("div", { class: "row" }, `${hhmm(store.site.begins)} start of the session`, el("button", { onclick: () => goBack(store.site.begins) }, "Go back to it")));
  parts.push(el("h3", {}, "Attempts"), el("table", {}, ...(store.state.attempts ?? []).map((a) => {
    const ends = el("td");
    moves.push(() => { const now = store.state.attempts.find((x) => x.number === a.number); if (now) ends.textContent = `to ${hhmm(now.ends)}`; });
    return el("tr", {}, el("td", {}, `attempt ${a.number}`), el("td", {}, `from ${hhmm(a.begins)}`), ends,
      el("td", {}, el("button", { onclick: () => act({ act: "finish", attempt: a.number }), title: `score and debrief of attempt ${a.number}` }, "Judge")));
  })), el("p", { class: "faint" }, "Compare: choose an attempt beside the trends, or judge both and lay their debriefs side by side."));
  return parts;
}

function lessonsPanel() {
  return [el("p", { class: "faint" }, "A lesson begins a new session of its own."), ...store.site.lessons.map((l) => el("div", { class: "card" },
    el("div", { class: "row" }, el("b", {}, `${l.number}. ${l.title}`), el("button", { onclick: () => act({ act: "lesson", name: l.name }), "aria-label": `begin ${l.title}` }, "Begin")),
    el("div", { class: "faint" }, `${length(l.limit)}; ${l.here ? "written for this plant" : `written for ${l.plants.join(", ")}`}`)))];
}
