// Snapshots: taken, listed, compared in words, restored with a preview; and what waits after a restore.

import { address, get, newKey, post, Problem } from "../api.js";
import { el, fill } from "../dom.js";
import { whenBack } from "../parts/again.js";
import { compare } from "../parts/compare.js";
import { field, form } from "../parts/form.js";
import { empty, failed, loading, notAllowed } from "../parts/notice.js";
import { restore } from "../parts/restore.js";
import { table } from "../parts/table.js";
import { waits } from "../parts/waits.js";
import { replaceQuery, to } from "../router.js";
import { politely } from "../say.js";
import { may } from "../session.js";
import { value, watch, watchEvents } from "../store.js";
import { timeOf } from "../times.js";
import { count, placeName, sentence } from "../words.js";

export const view = { path: "snapshots", title: "Snapshots", open };

const PAGE = 20;
const REASONS = { plan: "Before a change", timetable: "By timetable", asked: "Asked for", reset: "Before a reset", replaced: "What it held last, before another board", "board-reset": "What it held last, before a reset" };

function open(query) {
  if (query.restore || query.compare) {
    if (!may("roster")) return { node: notAllowed("roster"), close() {} };
    const inner = query.restore ? restore(query.restore, { target: query.receiver }) : compare(query.compare, query.with || query.compare);
    const node = el("div", { class: "view" }, el("p", {}, el("a", { href: to("snapshots") }, "All snapshots")), el("h2", {}, query.restore ? "Restore" : "Compare"), inner.node);
    return { node, close: inner.close };
  }
  return openAll(query);
}

function openAll(query) {
  const waiting = waits({ none: empty("The roster waits nowhere.") });
  const list = listPart(query);
  const take = may("roster") ? takePart(list.load) : null;
  const node = el("div", { class: "view" }, section("Where the roster waits", waiting.node), take && section("Take and bring", take.node, bringPart(list.load)), list.node);
  return {
    node,
    close() {
      waiting.close();
      take?.close();
      list.close();
    },
  };
}

const section = (title, ...children) => el("section", { class: "section", "aria-label": title }, el("h2", {}, title), children);

// --- taking one, bringing one from elsewhere ---

function takePart(taken) {
  const receiver = field({ name: "receiver", label: "Of which receiver", kind: "select" });
  const told = el("div", { role: "status" });
  const select = receiver.querySelector("select");
  const none = empty("No receiver here keeps transmitters, or none has answered yet, so there is nothing to take a snapshot of.");
  let key = newKey();
  const node = form({
    class: "sheet",
    fields: [el("p", {}, "A snapshot archives one receiver: who it is, its settings, every transmitter. It is taken before every change and by timetable by itself."), receiver],
    action: "Take a snapshot",
    extra: told,
    async send({ receiver: name }) {
      const { body } = await post(`/receivers/${encodeURIComponent(name)}/snapshots`, undefined, { key });
      key = newKey();
      const words = `Taken of ${placeName(name)}: ${count(body.slots, "transmitter")}.`;
      fill(told, words);
      politely(words);
      taken();
    },
  });
  const close = watch(["receivers"], () => {
    const able = (value("receivers")?.receivers ?? []).filter((each) => each.capabilities.includes("slots"));
    node.hidden = !able.length;
    none.hidden = Boolean(able.length) || !value("receivers");
    if (select.options.length !== able.length) fill(select, able.map((each) => el("option", { value: each.id }, placeName(each.id))));
  });
  return { node: [node, none], close };
}

function bringPart(taken) {
  const told = el("div", { role: "status" });
  return el(
    "details",
    {},
    el("summary", {}, "Bring one from another site"),
    form({
      class: "sheet",
      fields: [field({ name: "file", label: "Snapshot's file", kind: "file", required: true, accept: ".json,application/json", hint: "As another gateway gave it out. It is checked against its own checksum." })],
      action: "Bring it in",
      extra: told,
      async send(_, asked) {
        const { body } = await post("/snapshots", await documentOf(asked.elements.file.files[0]));
        fill(told, `Kept as ${body.id}.`);
        politely("Kept.");
        taken();
      },
    }),
  );
}

async function documentOf(file) {
  try {
    return JSON.parse(await file.text());
  } catch {
    throw new Problem({ code: "not-sent", detail: "That file is no snapshot: it can't be read as JSON.", remedy: "Choose a file that a gateway gave out, unchanged.", places: [{ pointer: "#/file", detail: "Not a snapshot." }] });
  }
}

// --- all that are kept ---

function listPart(query) {
  const which = field({ name: "receiver", label: "Of which receiver", kind: "select", options: [{ value: "", text: "All" }] });
  const select = which.querySelector("select");
  const status = el("div", {}, loading());
  const place = el("div");
  const more = el("button", { type: "button", hidden: true, on: { click: () => load(false) } }, "Show older ones");
  const rows = [];
  let wanted = query.receiver ?? "";
  let cursor = null;
  let asking = 0;
  let timer = 0;
  const found = table({
    caption: "Newest first",
    columns: [
      { key: "taken", title: "Taken", head: true, cell: (row) => [timeOf(row.taken), row.clock_trusted ? "" : " (the clock was not known to be right)"] },
      { key: "receiver", title: "Receiver", cell: (row) => (row.receiver.startsWith("import.") ? `${placeName(row.receiver.slice(7))}, from elsewhere` : placeName(row.receiver)) },
      { key: "reason", title: "Why", cell: (row) => REASONS[row.reason] ?? sentence(row.reason) },
      { key: "slots", title: "Transmitters", number: true, cell: (row) => row.slots.toLocaleString("en-GB") },
      { key: "serial", title: "Board", cell: (row) => (row.serial ? el("span", { class: "figures" }, row.serial) : "none") },
      ...(may("roster") ? [{ key: "do", title: "Do", bare: true, cell: actions }] : []),
    ],
  });

  async function load(anew = true) {
    const mine = (asking += 1);
    try {
      const page = await get("/snapshots", { receiver: wanted, limit: PAGE, cursor: anew ? null : cursor });
      if (mine !== asking) return;
      if (anew) rows.length = 0;
      rows.push(...page.snapshots);
      cursor = page.next;
      more.hidden = !cursor;
      found.show(rows);
      fill(place, rows.length > 0 && found.node);
      fill(status, rows.length ? null : empty("None is kept yet. The first is taken before the first change."));
    } catch (problem) {
      if (mine === asking) fill(status, failed(problem, () => load(anew)));
    }
  }

  function again() {
    if (rows.length > PAGE) return; // who has gone back further reads on undisturbed
    clearTimeout(timer);
    timer = setTimeout(load, 300);
  }

  select.addEventListener("input", () => {
    wanted = select.value;
    replaceQuery({ receiver: wanted });
    load();
  });
  const stops = [
    watch(["receivers"], () => {
      const options = [{ id: "", text: "All" }, ...(value("receivers")?.receivers ?? []).map(({ id }) => ({ id, text: placeName(id) }))];
      if (select.options.length !== options.length) fill(select, options.map((each) => el("option", { value: each.id, selected: each.id === wanted }, each.text)));
    }),
    watchEvents((event) => event.type === "local.gatepost.snapshot.taken" && again()),
    whenBack(again),
  ];
  load();
  return {
    node: section("Kept", el("form", { class: "sheet filters", on: { submit: (event) => event.preventDefault() } }, which), status, place, el("div", { class: "row" }, more)),
    load,
    close() {
      clearTimeout(timer);
      for (const stop of stops) stop();
    },
  };
}

function actions(row) {
  const own = row.receiver.startsWith("import.") ? "" : row.receiver;
  const of = `snapshot ${row.id}`;
  return el(
    "div",
    { class: "row small" },
    el("a", { href: to("snapshots", { compare: row.id, with: own || row.id }), "aria-label": `Compare ${of}` }, "Compare"),
    el("a", { href: to("snapshots", { restore: row.id, receiver: own }), "aria-label": `Restore ${of}` }, "Restore"),
    el("a", { href: address(`/snapshots/${encodeURIComponent(row.id)}`), download: `${row.id}.json`, "aria-label": `Save the file of ${of}` }, "Save the file"),
  );
}
