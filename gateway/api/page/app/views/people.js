// People: found as one types, by holder or serial; a card of sentences for each.

import { get } from "../api.js";
import { el, fill, say } from "../dom.js";
import { field } from "../parts/form.js";
import { whenBack } from "../parts/again.js";
import { elsewhere } from "../parts/kept-elsewhere.js";
import { empty, failed, loading } from "../parts/notice.js";
import { pending } from "../parts/pending.js";
import { personCard } from "../parts/person.js";
import { personEdits } from "../parts/person-edits.js";
import { choices } from "../parts/rights.js";
import { replaceQuery, to } from "../router.js";
import { politely } from "../say.js";
import { refresh, value, watch, watchEvents } from "../store.js";
import { count, sentence, STANDINGS } from "../words.js";

export const view = { path: "people", title: "People", scope: "roster", open };

const PAGE = 30;
const TYPING_MS = 120;
const SETTLE_MS = 300;

function open(query) {
  return query.id ? openCard(query.id) : openSearch(query);
}

// --- one person ---

function openCard(serial) {
  const place = el("div", { class: "stack" }, loading());
  const said = el("div", { class: "stack said", tabindex: "-1" });
  const waiting = pending();
  const node = el("div", { class: "view" }, el("p", {}, el("a", { href: to("people") }, "Everybody")), said, place, waiting.node);
  const asking = new AbortController();
  let later = 0;

  async function load(live = false) {
    try {
      const [person, choice] = await Promise.all([get(`/people/${encodeURIComponent(serial)}`, {}, { signal: asking.signal }), choices(asking.signal)]);
      if (live && begun()) return;
      const several = person.transmitters.length > 1;
      const actions = (card) => choice.editable && (card.listed ? personEdits(card.serial, { several, choice, done: changed }) : el("p", {}, el("a", { class: "button", href: to("person-add", { serial: card.serial, holder: card.holder }) }, "Add it to the roster")));
      const unfolded = new Set([...place.querySelectorAll(".edits[open]")].map((each) => each.dataset.serial));
      fill(place, personCard(person, { actions, alone: true }), choice.editable ? null : elsewhere());
      for (const each of place.querySelectorAll(".edits")) each.open = unfolded.has(each.dataset.serial);
    } catch (problem) {
      if (problem.name === "AbortError") return;
      fill(place, problem.code === "not-found" ? empty("Neither the roster nor a receiver has this transmitter.") : failed(problem, () => load()));
    }
  }

  function changed(answer) {
    fill(said, el("div", { class: "notice" }, el("strong", {}, "Done"), answer.words.map((words) => el("p", {}, sentence(words))), answer.problem && el("p", {}, `It is not in force yet: ${answer.problem}`)));
    said.focus();
    politely(answer.words.map(sentence).join(" "));
    refresh("roster", "agreements");
    load(true);
  }

  // Somebody has begun to fill something in, or has just asked for it.
  function begun() {
    return place.querySelector(".confirm, .edits [aria-busy]");
  }

  // What is being filled in stays; all else follows what becomes of it at the receivers.
  const stopBack = whenBack(() => load(true));
  const stop = watchEvents(({ type }) => {
    if (!/\.(plan\.applied|slot\.changed|settings\.changed|revocation\.\w+|roster\.fetched)$/.test(type) || begun()) return;
    clearTimeout(later);
    later = setTimeout(() => !begun() && load(true), SETTLE_MS);
  });
  load();
  return {
    node,
    close() {
      asking.abort();
      clearTimeout(later);
      waiting.close();
      stopBack();
      stop();
    },
  };
}

// --- everybody ---

function openSearch(query) {
  const filters = { q: query.q ?? "", group: query.group ?? "", gate: query.gate ?? "", standing: query.standing ?? "", sort: query.sort ?? "" };
  const total = el("p", { class: "quiet", role: "status" });
  const list = el("div", { class: "cards people" });
  const state = el("div");
  const more = el("button", { type: "button", hidden: true, on: { click: () => load() } }, "Show more");
  const bar = filterBar(filters, changed);
  const ways = el("div", { class: "stack" }, loading());
  const node = el("div", { class: "view" }, ways, bar.node, total, state, list, el("div", { class: "row" }, more));
  let cursor = null;
  let asking = null;
  let typing = 0;

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
    cursor = null;
    load(true);
  }

  // What stands there stays until the answer is there: no flicker while somebody types.
  async function load(anew = false) {
    if (asking) return;
    const mine = (asking = new AbortController());
    try {
      const page = await get("/people", { q: filters.q, group: filters.group, receiver: receiverOf(filters.gate), standing: filters.standing, sort: filters.sort, limit: PAGE, cursor }, { signal: mine.signal });
      const cards = worksAt(page.people, filters.gate).map((person) => personCard(person));
      if (anew) fill(list, cards);
      else list.append(...cards);
      cursor = page.next;
      if (anew) fill(ways, waysOn(page.editable, filters.group));
      more.hidden = !cursor;
      // A receiver may drive several gates: how many work this one is known once all of its people are here.
      const found = filters.gate ? list.childElementCount : page.total;
      const filtered = filters.q || filters.gate || filters.standing;
      const nobody = found === 0 && !(filters.gate && cursor);
      say(total, nobody ? (filtered ? "Nobody fits. Try a part of the name, or some digits of the serial." : "Nobody has access yet: the roster is empty.") : `${count(found, "person", "people")}${filters.gate && cursor ? " so far" : filtered ? " found" : ""}.`);
      fill(state);
    } catch (problem) {
      if (problem.name === "AbortError") return;
      if (ways.querySelector(".loading")) fill(ways);
      fill(state, failed(problem, () => load(anew)));
    } finally {
      if (asking === mine) asking = null;
    }
    seen.unobserve(more);
    seen.observe(more);
  }

  const seen = new IntersectionObserver((entries) => entries.some((entry) => entry.isIntersecting) && cursor && load(), { rootMargin: "400px" });
  seen.observe(more);
  const stop = watch(["gates"], () => {
    const known = value("gates");
    bar.gates(known?.gates ?? []);
    if (known && filters.gate && !cursor && !asking && !list.childElementCount) start();
  });
  start();

  return {
    node,
    close() {
      clearTimeout(typing);
      asking?.abort();
      seen.disconnect();
      stop();
    },
  };
}

/** Where people are changed, or why that is done elsewhere. */
function waysOn(editable, group) {
  const ways = [
    group && el("a", { href: to("people") }, `Only group ${group}; show everybody`),
    editable && el("a", { class: "button", href: to("person-add") }, "Add somebody"),
    editable && el("a", { href: to("edits") }, "Who changed what"),
    el("a", { href: to("groups") }, "Groups"),
    el("a", { href: to("names") }, "Give names"),
    editable && el("a", { href: to("first-roster") }, "Begin from the receivers"),
  ];
  return [el("p", { class: "row small" }, ways), !editable && elsewhere({ plain: true })];
}

const gateOf = (id) => value("gates")?.gates.find((gate) => gate.id === id);
const receiverOf = (id) => gateOf(id)?.receiver ?? "";

/** Those with a place that works one of the gate's outputs; the gateway filters by receiver, which may drive several. */
function worksAt(people, id) {
  const gate = gateOf(id);
  if (!gate) return people;
  const outputs = new Set(gate.outputs.map((output) => output.number));
  return people.filter((person) => person.transmitters.some((card) => card.places.some((place) => place.receiver === gate.receiver && place.outputs.some((number) => outputs.has(number)))));
}

function filterBar(filters, changed) {
  const q = field({ name: "q", label: "Holder or serial", kind: "search", value: filters.q, autocomplete: "off" });
  const gate = field({ name: "gate", label: "Who has access to", kind: "select", options: [{ value: "", text: "Any gate" }] });
  const standing = field({ name: "standing", label: "How it stands", kind: "select", value: filters.standing, options: [{ value: "", text: "However" }, ...Object.entries(STANDINGS).map(([key, text]) => ({ value: key, text }))] });
  const sort = field({ name: "sort", label: "Order", kind: "select", value: filters.sort, options: [{ value: "", text: "By holder" }, { value: "serial", text: "By transmitter" }, { value: "heard", text: "Last used first" }, { value: "ending", text: "Ending first" }] });
  const inputs = Object.fromEntries([q, gate, standing, sort].map((each) => [each.dataset.field, each.querySelector("input, select")]));
  for (const [name, input] of Object.entries(inputs)) {
    input.addEventListener("input", () => {
      filters[name] = input.value.trim();
      changed(name === "q");
    });
  }
  return {
    node: el("form", { class: "sheet filters", role: "search", "aria-label": "Find people", on: { submit: (event) => event.preventDefault() } }, q, gate, standing, sort),
    gates(found) {
      const options = [{ id: "", title: "Any gate" }, ...found];
      if (inputs.gate.options.length === options.length) return;
      fill(inputs.gate, options.map((each) => el("option", { value: each.id, selected: each.id === filters.gate }, each.title)));
    },
  };
}

