// Work in progress: somebody is at a receiver. Start and end it, and read what was changed meanwhile.

import { get, newKey, post } from "../api.js";
import { el, fill, keep, say } from "../dom.js";
import { whenBack } from "../parts/again.js";
import { confirm } from "../parts/confirm.js";
import { field, form, tick } from "../parts/form.js";
import { caution, empty, failed, loading, tag } from "../parts/notice.js";
import { politely } from "../say.js";
import { may } from "../session.js";
import { refresh, state as known, value, watch, watchEvents } from "../store.js";
import { moment, timeOf } from "../times.js";
import { callerName, count, list, placeName, sentence } from "../words.js";

export const view = { path: "work", title: "Work in progress", open };

const MOST_MINUTES = 480;

function open() {
  const lead = el("p", { class: "lead", role: "status" });
  const state = el("div", { class: "stack" }, loading());
  const running = el("ul", { class: "stack" });
  const past = el("ul", { class: "sheet lines" });
  const earlier = el("section", { class: "section", "aria-label": "Earlier", hidden: true }, el("h2", {}, "Earlier"), past);
  const begin = el("div", {});
  const node = el("div", { class: "view" }, lead, state, running, begin, earlier);
  const asking = new AbortController();
  let drawn = "";
  let later = 0;

  async function load() {
    try {
      const { visits } = await get("/visits", { limit: 100 }, { signal: asking.signal });
      fill(state);
      draw(visits);
    } catch (problem) {
      if (problem.name !== "AbortError") fill(state, failed(problem, load));
    }
  }

  function draw(visits) {
    const open = visits.filter((each) => each.state !== "ended");
    const over = visits.filter((each) => each.state === "ended");
    say(lead, open.length ? `People work at ${list(open.map(whereOf))}.` : "Nobody has said that people work here.");
    keep(running, open, { key: keyOf, make: (each) => runningCard(each, load) });
    keep(past, over, { key: keyOf, make: pastRow });
    earlier.hidden = !over.length;
  }

  // Where it can be is known once gates and receivers are; what is half filled in stays.
  function offer() {
    const [receivers, gates] = [value("receivers")?.receivers, value("gates")?.gates];
    if (!receivers || !gates) {
      const problem = known("receivers").problem ?? known("gates").problem;
      fill(begin, problem ? failed(problem, () => refresh("receivers", "gates")) : loading());
      return;
    }
    const now = JSON.stringify([receivers.map((each) => each.id), gates.map((each) => each.id)]);
    if (now === drawn) return;
    drawn = now;
    fill(begin, may("roster") ? startForm(receivers, gates, started) : empty("Your token lets you see work in progress, not start it. Ask for one with the scope roster."));
  }

  async function started() {
    drawn = "";
    offer();
    await load();
    running.querySelector("h2")?.focus();
  }

  const stops = [
    whenBack(load),
    watch(["receivers", "gates"], offer),
    watchEvents(({ type }) => {
      if (!/\.(visit\.\w+|link\.\w+|settings\.changed)$/.test(type)) return;
      clearTimeout(later);
      later = setTimeout(load, 300);
    }),
  ];
  load();
  return {
    node,
    close() {
      asking.abort();
      clearTimeout(later);
      stops.forEach((stop) => stop());
    },
  };
}

const keyOf = (visit) => `${visit.id} ${visit.state} ${visit.changes.length} ${Object.values(visit.problems).join()} ${visit.unlocked.join()}`;
const whereOf = ({ scope, name }) => (scope === "site" ? "the whole site" : placeName(name));

function startForm(receivers, gates, done) {
  let key = newKey();
  const where = [{ value: "", text: "The whole site" }, ...gates.map((each) => ({ value: `gate ${each.id}`, text: each.title })), ...receivers.map((each) => ({ value: `receiver ${each.id}`, text: `Receiver ${placeName(each.id)}` }))];
  return form({
    class: "sheet",
    fields: [
      el("h2", {}, "Start"),
      el("p", {}, "Meanwhile the roster waits there, and alarm reports are tests. Revocations go through, and what is refused for safety still is. It ends by itself."),
      el("div", { class: "fields" }, field({ name: "where", label: "Where", kind: "select", options: where }), field({ name: "minutes", label: "For how many minutes", kind: "number", value: "60", min: 1, max: MOST_MINUTES, step: 1, required: true }), field({ name: "reason", label: "Who works there, and why", required: true, maxlength: 200 })),
      tick({ name: "unlock", label: "The board's own buttons may be used meanwhile" }),
    ],
    action: "Start",
    async send({ where: at, minutes, reason, unlock }) {
      const [scope, name] = at.split(" ");
      await post("/visits", { [scope || "gate"]: name ?? null, minutes: Number(minutes), reason, unlock }, { key });
      key = newKey();
      politely("Started.");
      refresh("receivers", "gates", "conditions");
      await done();
    },
  });
}

function runningCard(visit, done) {
  const locking = visit.state === "locking";
  return el(
    "li",
    { class: "sheet" },
    el("div", { class: "row apart" }, el("h2", { tabindex: "-1" }, whereOf(visit)), tag(locking ? "Being locked" : "Work in progress", { shape: "Ⅱ" })),
    el("p", {}, locking ? `It is over; ${list(visit.unlocked.map(placeName))} ${visit.unlocked.length === 1 ? "is" : "are"} not proven locked yet. It is tried until it is.` : ["Since ", timeOf(visit.started), ", until ", timeOf(visit.until), " at the latest."]),
    visit.reason && el("p", {}, visit.reason),
    visit.unlocked.length > 0 && !locking && caution(`The buttons of ${list(visit.unlocked.map(placeName))} are unlocked: whoever stands there can teach transmitters.`),
    Object.entries(visit.problems).map(([receiver, text]) => el("p", { class: "notice", "data-kind": "failed" }, `${placeName(receiver)}: ${sentence(text)}`)),
    !locking && may("roster") && confirm({ open: "End it", action: "End it", about: "The receivers are locked again and read, and what was changed is listed.", send: () => post(`/visits/${encodeURIComponent(visit.id)}/end`), done: () => (politely("Ended."), refresh("receivers", "conditions"), done()) }),
  );
}

function pastRow(visit) {
  const changes = visit.changes.length;
  return el(
    "li",
    { class: "stack" },
    el("h3", {}, whereOf(visit)),
    el("p", { class: "small quiet" }, `${moment(visit.started)} to ${moment(visit.ended ?? visit.until)}, started by ${callerName(visit.asked_by)}, ended by ${callerName(visit.ended_by || "its time")}.`),
    visit.reason && el("p", {}, visit.reason),
    changes > 0 ? el("details", { open: changes < 6 }, el("summary", {}, `${count(changes, "change")} meanwhile`), el("ul", { class: "bullets" }, visit.changes.map((each) => el("li", {}, timeOf(each.time), ` ${placeName(each.receiver)}: ${sentence(each.sentence)}`)))) : el("p", {}, "Nothing was changed meanwhile."),
    visit.unread.length > 0 && el("p", {}, `▲ ${list(visit.unread.map(placeName))} could not be read at the end: the list may lack something.`),
  );
}
