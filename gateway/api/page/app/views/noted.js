// What needed somebody: every condition, open or over, with who took note and what they did or found.

import { get } from "../api.js";
import { el, fill, keep } from "../dom.js";
import { whenBack } from "../parts/again.js";
import { field } from "../parts/form.js";
import { conditionKey, conditionOf } from "../parts/note.js";
import { empty, failed, loading } from "../parts/notice.js";
import { replaceQuery } from "../router.js";
import { value, watch, watchEvents } from "../store.js";
import { timeOf } from "../times.js";

export const view = { path: "noted", title: "What needed somebody", open };

const PAGE = 50;

function open(query) {
  const wanted = { gate: query.gate ?? "", state: query.state ?? "all" };
  const gate = field({ name: "gate", label: "Gate", kind: "select", options: [{ value: "", text: "Any gate, and all else" }] });
  const when = field({ name: "state", label: "Which", kind: "select", value: wanted.state, options: [{ value: "all", text: "Open and over" }, { value: "open", text: "Open" }, { value: "cleared", text: "Over" }] });
  const selects = { gate: gate.querySelector("select"), state: when.querySelector("select") };
  const state = el("div", {}, loading());
  const list = el("ul", { class: "sheet lines", hidden: true });
  const more = el("button", { type: "button", hidden: true, on: { click: () => load(true) } }, "Show older ones");
  const node = el("div", { class: "view" }, el("form", { class: "sheet filters", "aria-label": "Which of them", on: { submit: (event) => event.preventDefault() } }, gate, when), state, list, el("div", { class: "row" }, more));
  let asking = null;
  let rows = [];
  let cursor = "";
  let later = 0;

  async function load(further = false) {
    asking?.abort();
    const mine = (asking = new AbortController());
    try {
      const page = await get("/conditions", { ...wanted, limit: PAGE, cursor: further ? cursor : "" }, { signal: mine.signal });
      rows = further ? [...rows, ...page.conditions] : page.conditions;
      cursor = page.next ?? "";
      more.hidden = !cursor;
      list.hidden = !rows.length;
      fill(state, rows.length ? null : empty("Nothing needed anybody, as far as is kept."));
      keep(list, rows, { key: (each) => `${conditionKey(each)}/${each.cleared}`, make: row });
    } catch (problem) {
      if (problem.name !== "AbortError") fill(state, failed(problem, () => load()));
    }
  }

  for (const [name, select] of Object.entries(selects)) {
    select.addEventListener("input", () => {
      wanted[name] = select.value;
      replaceQuery(wanted);
      load();
    });
  }
  const stops = [
    whenBack(() => load()),
    watch(["gates"], () => {
      const found = value("gates")?.gates ?? [];
      if (selects.gate.options.length !== found.length + 1) fill(selects.gate, [{ id: "", title: "Any gate, and all else" }, ...found].map((each) => el("option", { value: each.id, selected: each.id === wanted.gate }, each.title)));
    }),
    watchEvents((event) => {
      if (!event.type.includes(".condition.")) return;
      clearTimeout(later);
      later = setTimeout(() => load(), 300);
    }),
  ];
  load();
  return {
    node,
    close() {
      asking?.abort();
      clearTimeout(later);
      stops.forEach((stop) => stop());
    },
  };
}

/** An open one is what it is at a glance; one that is over says from when to when, and what was noted. */
function row(condition) {
  if (!condition.cleared) return conditionOf(condition);
  const note = condition.acknowledged;
  return el(
    "li",
    { class: "stack" },
    el("p", {}, condition.sentence, condition.visit && " A test: people worked there."),
    el("p", { class: "small quiet" }, "From ", timeOf(condition.since), " to ", timeOf(condition.cleared), "."),
    note && el("p", { class: "small" }, "✓ ", note.name || "Somebody", " took note at ", timeOf(note.time), note.note && `: ${note.note}`, "."),
  );
}
