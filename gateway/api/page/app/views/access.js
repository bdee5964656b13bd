// Who had access to a gate, on any day: what the receivers' memories held, from when to when, and how that is known.

import { get } from "../api.js";
import { el, fill } from "../dom.js";
import { field } from "../parts/form.js";
import { empty, failed, loading } from "../parts/notice.js";
import { outputAt } from "../parts/rights.js";
import { table } from "../parts/table.js";
import { replaceQuery, to } from "../router.js";
import { value, watch } from "../store.js";
import { dayOfYear, full, isoDay, moment, timeOf } from "../times.js";
import { count, list, placeName, sentence } from "../words.js";

export const view = { path: "access", title: "Who had access", scope: "roster", open };

const PAGE = 500;
const BASIS = { memory: "Read from the receiver", "by-hand": "Written down by hand, not proven", roster: "Only wanted: the receiver did not hold it" };

function open(query) {
  const wanted = { gate: query.gate ?? "", on: query.on || isoDay(new Date()) };
  const gate = field({ name: "gate", label: "Gate", kind: "select", options: [{ value: "", text: "Every gate" }] });
  const on = field({ name: "on", label: "Day", kind: "date", value: wanted.on, max: isoDay(new Date()) });
  const selects = { gate: gate.querySelector("select"), on: on.querySelector("input") };
  const place = el("div", { class: "stack" });
  const node = el(
    "div",
    { class: "view" },
    el("form", { class: "sheet filters no-paper", role: "search", "aria-label": "Which gate and day", on: { submit: (event) => event.preventDefault() } }, gate, on),
    place,
  );
  let asking = null;

  for (const [name, input] of Object.entries(selects)) {
    input.addEventListener("input", () => {
      if (!input.value && name === "on") return; // a date half typed
      wanted[name] = input.value;
      replaceQuery(wanted);
      load();
    });
  }

  async function load() {
    asking?.abort();
    const mine = (asking = new AbortController());
    fill(place, loading());
    try {
      let answer = await get("/roster/history", { on: wanted.on, gate: wanted.gate, limit: PAGE }, { signal: mine.signal });
      const rows = [...answer.access];
      const first = answer;
      while (answer.next) {
        answer = await get("/roster/history", { on: wanted.on, gate: wanted.gate, limit: PAGE, cursor: answer.next }, { signal: mine.signal });
        rows.push(...answer.access);
      }
      const recorded = (first.receivers ?? []).some((each) => each.recorded);
      const nobody = recorded ? "Nobody, as far as is recorded." : "That can't be said: nothing is recorded for that day.";
      const told = rows.length ? rowsOf(rows, wanted, await gatesNow(mine.signal)) : empty(nobody);
      fill(place, aboutRecord(first), told);
    } catch (problem) {
      if (problem.name !== "AbortError") fill(place, failed(problem, load));
    }
  }

  const stop = watch(["gates"], () => {
    const found = [{ id: "", title: "Every gate" }, ...(value("gates")?.gates ?? [])];
    if (selects.gate.options.length !== found.length) fill(selects.gate, found.map((each) => el("option", { value: each.id, selected: each.id === wanted.gate }, each.title)));
  });
  load();
  return {
    node,
    close() {
      asking?.abort();
      stop();
    },
  };
}

/** What the record can't say is said before the list. */
function aboutRecord({ receivers, end }) {
  const words = [];
  for (const { receiver, recorded, recorded_since: since, gaps } of receivers ?? []) {
    const name = placeName(receiver);
    if (!recorded) words.push(`Of ${name} nothing is recorded for that day${since ? `; its record begins ${at(since)}` : ""}.`);
    else if (since?.at && end && since.at > end) words.push(`The record of ${name} begins ${at(since)}.`);
    for (const gap of gaps) words.push(`Nobody watched ${name} from ${moment(gap.since)} ${gap.until ? `to ${moment(gap.until)}` : "on"}: ${gap.why}`);
  }
  return words.length ? el("ul", { class: "notice" }, words.map((text) => el("li", {}, text))) : null;
}

/** Outputs are told by the gates that they work. */
const gatesNow = async (signal) => (value("gates") ?? (await get("/gates", {}, { signal }))).gates;

function rowsOf(rows, { on }, gates) {
  return table({
    caption: `${count(rows.length, "transmitter")} on ${dayOfYear(`${on}T12:00:00Z`)}`,
    sorted: { key: "holder", down: false },
    columns: [
      { key: "holder", title: "Holder", cell: (row) => el("a", { href: to("people", { id: row.serial }) }, row.holder || "Nobody in the roster"), sort: (row) => row.holder, head: true, name: true },
      { key: "serial", title: "Transmitter", cell: (row) => el("span", { class: "figures" }, row.serial), sort: (row) => row.serial },
      { key: "works", title: "What it works", cell: (row) => sentence(list(row.rights.map((right) => `position ${right.position} works ${list(right.outputs.map((name) => outputAt(gates, row.receiver, name)))}`))) },
      { key: "first", title: "From", cell: (row) => when(row.first), sort: (row) => row.first.clock, short: true },
      { key: "last", title: "Until", cell: (row) => (row.last ? when(row.last) : "still so"), sort: (row) => row.last?.clock ?? "9999", short: true },
      { key: "basis", title: "How that is known", cell: (row) => `${BASIS[row.basis] ?? row.basis}${row.certain ? "" : "; the clock leaves the day open"}`, sort: (row) => row.basis },
    ],
    rows,
  }).node;
}

const at = (told) => (told.at ? full(told.at) : `between ${told.earliest ? full(told.earliest) : "a time not known"} and ${told.latest ? full(told.latest) : "now"}`);
const when = (told) => (told.at ? timeOf(told.at) : at(told));
