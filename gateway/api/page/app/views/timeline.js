// What happened, in sentences, newest first. Only what has been scrolled to is fetched, and only what is near the window
// has elements (parts/long-list.js), so that ten thousand events weigh no more than a few hundred.

import { address, get } from "../api.js";
import { el, fill, say } from "../dom.js";
import { chart } from "../parts/chart.js";
import { field } from "../parts/form.js";
import { longList } from "../parts/long-list.js";
import { empty, failed, loading, tag } from "../parts/notice.js";
import { replaceQuery } from "../router.js";
import { may } from "../session.js";
import { connection, value, watch, watchConnection, watchEvents } from "../store.js";
import { clock, day, dayOfYear, full, isoDay, timeOf } from "../times.js";
import { opened, WEIGHT_SHAPES } from "../words.js";

export const view = { path: "timeline", title: "Timeline", open };

const KINDS = [
  { value: "", text: "Everything" },
  { value: "use", text: "Use" },
  { value: "movement", text: "Movement" },
  { value: "attention", text: "Needs somebody" },
  { value: "access", text: "Who has access" },
  { value: "equipment", text: "Receivers" },
  { value: "gateway", text: "The gateway" },
];
const PAGE = 150;
const NEWS_MS = 400; // several events at once are fetched once
const TYPING_MS = 350;
const EMPTY_PAGES = 40; // how long a rare name is looked for before somebody is asked to go on

function open(query) {
  const filters = { gate: query.gate ?? "", kind: query.kind ?? "", who: query.who ?? "", day: query.day ?? "" };
  const list = longList({ label: "What happened, newest first", key: (row) => row.id, make: makeItem, heading });
  const state = el("div", { class: "stack" });
  const more = el("button", { type: "button", hidden: true, on: { click: () => load() } }, "Show older");
  const use = useCharts();
  const download = el("a", { class: "button", download: "" }, "Save as a table (CSV)");
  const bar = filterBar(filters, changed);
  const node = el(
    "div",
    { class: "view" },
    bar.node,
    el("div", { class: "two" }, use.node, el("section", { class: "sheet", "aria-label": "Events" }, el("div", { class: "row apart" }, el("h2", {}, "What happened"), may("roster") && download), state, list.node, el("div", { class: "row" }, more))),
  );

  let known = new Set(); // ids of the rows that stand there
  let cursor = null;
  let asking = null; // the request under way, to be given up when the filters change
  let news = 0;
  let typing = 0;

  function wanted() {
    return { gate: filters.gate, kind: filters.kind, who: filters.who, from_day: filters.day, to_day: filters.day };
  }

  function changed(soon) {
    clearTimeout(typing);
    typing = setTimeout(() => {
      replaceQuery(filters);
      start();
    }, soon ? TYPING_MS : 0);
  }

  function start() {
    asking?.abort();
    asking = null;
    known = new Set();
    cursor = null;
    more.hidden = true;
    list.clear();
    fill(state, loading());
    download.setAttribute("href", address("/timeline/export", wanted()));
    use.show(filters.gate);
    load();
  }

  async function load() {
    if (asking) return;
    const mine = (asking = new AbortController());
    more.disabled = true;
    try {
      const before = known.size;
      for (let pages = 0; pages < EMPTY_PAGES; pages += 1) {
        const page = await get("/timeline", { ...wanted(), limit: PAGE, cursor }, { signal: mine.signal });
        show("append", page.rows);
        cursor = page.next;
        if (known.size - before >= PAGE / 2 || !cursor) break;
      }
      fill(state, known.size ? null : empty(cursor ? "Nothing that fits so far." : nothing()));
    } catch (problem) {
      if (problem.name === "AbortError") return;
      fill(state, failed(problem, () => load()));
    } finally {
      if (asking === mine) asking = null;
    }
    more.disabled = false;
    more.hidden = !cursor;
    seen.unobserve(more);
    seen.observe(more); // tells again when it is still in sight
  }

  function nothing() {
    return filters.gate || filters.kind || filters.who || filters.day ? "Nothing that is kept fits these filters." : "Nothing has happened yet.";
  }

  // What is new comes in front; the rows below stay where they are under the reader's eyes.
  async function look() {
    news = 0;
    if (asking || (filters.day && filters.day !== isoDay(new Date()))) return;
    const mine = (asking = new AbortController());
    try {
      const page = await get("/timeline", { ...wanted(), limit: PAGE }, { signal: mine.signal });
      if (known.size && page.rows.length && !page.rows.some((row) => known.has(row.id))) {
        known = new Set(); // so much happened meanwhile that there may be a gap
        list.clear();
        cursor = page.next;
        more.hidden = !cursor;
      }
      show("prepend", page.rows);
      if (known.size) fill(state);
    } catch {
      return; // the frame says that it is not live; the next event, or the reconnect, looks again
    } finally {
      if (asking === mine) asking = null;
    }
  }

  function show(how, rows) {
    const fresh = rows.filter((row) => !known.has(row.id));
    for (const row of fresh) known.add(row.id);
    list[how](fresh);
  }

  const seen = new IntersectionObserver((entries) => entries.some((entry) => entry.isIntersecting) && cursor && load(), { rootMargin: "600px" });
  seen.observe(more);
  const soon = () => (news ||= setTimeout(look, NEWS_MS));
  let before = connection.state;
  const stops = [
    watchEvents(soon),
    watchConnection(({ state: now }) => {
      if (now === "live" && before !== "live") soon();
      before = now;
    }),
    watch(["gates"], () => bar.gates(value("gates")?.gates ?? [])),
  ];
  start();

  return {
    node,
    query(next) {
      Object.assign(filters, { gate: next.gate ?? "", kind: next.kind ?? "", who: next.who ?? "", day: next.day ?? "" });
      bar.show(filters);
      start();
    },
    close() {
      clearTimeout(news);
      clearTimeout(typing);
      asking?.abort();
      seen.disconnect();
      list.close();
      for (const stop of stops) stop();
    },
  };
}

// --- filters ---

function filterBar(filters, changed) {
  const gate = field({ name: "gate", label: "Gate", kind: "select", options: [{ value: "", text: "Every gate" }] });
  const kind = field({ name: "kind", label: "What", kind: "select", options: KINDS, value: filters.kind });
  const who = field({ name: "who", label: may("roster") ? "Holder or serial" : "Serial", kind: "search", value: filters.who, autocomplete: "off" });
  const date = field({ name: "day", label: "Day", kind: "date", value: filters.day });
  const inputs = Object.fromEntries([gate, kind, who, date].map((each) => [each.dataset.field, each.querySelector("input, select")]));
  for (const [name, input] of Object.entries(inputs)) {
    input.addEventListener("input", () => {
      filters[name] = input.value.trim();
      changed(name === "who");
    });
  }
  return {
    node: el("form", { class: "sheet filters", role: "search", "aria-label": "Filter the timeline", on: { submit: (event) => event.preventDefault() } }, gate, kind, who, date),
    gates(found) {
      const options = [{ id: "", title: "Every gate" }, ...found];
      if (inputs.gate.options.length === options.length) return;
      fill(inputs.gate, options.map((each) => el("option", { value: each.id, selected: each.id === filters.gate }, each.title)));
    },
    show(next) {
      for (const [name, input] of Object.entries(inputs)) input.value = next[name];
    },
  };
}

// --- rows ---

const heading = (row) => {
  if (!row.time) return "Day not known";
  return isoDay(row.time) === isoDay(new Date()) ? `Today, ${day(row.time)}` : `${day(row.time)} ${dayOfYear(row.time).slice(-4)}`;
};

// What has needed somebody is told without colour: whether it still does stands at a glance.
function makeItem(row) {
  return el(
    "li",
    { class: "line" },
    row.time ? timeOf(row.time, clock(row.time)) : el("span", { class: "quiet", title: "The clock was not known to be right." }, "?"),
    el(
      "p",
      {},
      row.weight && row.name === "condition.raised" && [tag("Needed somebody", { shape: WEIGHT_SHAPES[row.weight] }), " "],
      row.sentence,
      row.late && el("span", { class: "where" }, ` Read later: it happened between ${full(row.late.earliest)} and ${full(row.late.latest)}.`),
    ),
  );
}

// --- charts ---

function useCharts() {
  const days = chart({ title: "Presses a day", unit: "Presses", first: "Day" });
  const hours = chart({ title: "Presses by hour of the day", unit: "Presses", first: "Hour" });
  const about = el("p", { class: "small quiet" });
  const trouble = el("div");
  let shown = null;

  async function show(gate) {
    if (gate === shown) return;
    shown = gate;
    try {
      const use = await get("/use", { gate });
      if (gate !== shown) return;
      fill(trouble);
      const today = isoDay(new Date());
      days.show(use.days.map((each) => ({ label: String(Number(each.day.slice(8))), title: day(`${each.day}T12:00:00Z`), value: each.presses, now: each.day === today })));
      hours.show(use.hours.map((each) => ({ label: String(each.hour), title: `${String(each.hour).padStart(2, "0")}:00 to ${String(each.hour + 1).padStart(2, "0")}:00`, value: each.presses })));
      const found = value("gates")?.gates.find((each) => each.id === gate);
      say(about, found ? `Last 30 days. ${found.title} ${opened(found)}.` : "Last 30 days, all gates.");
    } catch (problem) {
      shown = null;
      fill(trouble, failed(problem, () => show(gate)));
    }
  }

  const wide = matchMedia("(min-width: 76rem)").matches;
  return {
    node: el("section", { class: "sheet aside", "aria-label": "How much it is used" }, el("details", { open: wide }, el("summary", {}, el("h2", {}, "Use")), el("div", { class: "stack" }, about, trouble, days.node, hours.node))),
    show,
  };
}
