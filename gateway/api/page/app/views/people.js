// People: found as one types, by holder or serial; a card of sentences for each.

import { get } from "../api.js";
import { el, fill, say } from "../dom.js";
import { field } from "../parts/form.js";
import { empty, failed, loading } from "../parts/notice.js";
import { personCard } from "../parts/person.js";
import { replaceQuery, to } from "../router.js";
import { value, watch } from "../store.js";
import { count, STANDINGS } from "../words.js";

export const view = { path: "people", title: "People", scope: "roster", open };

const PAGE = 30;
const TYPING_MS = 120;

function open(query) {
  return query.id ? openCard(query.id) : openSearch(query);
}

// --- one person ---

function openCard(serial) {
  const place = el("div", { class: "stack" }, loading());
  const node = el("div", { class: "view" }, el("p", {}, el("a", { href: to("people") }, "Everybody")), place);
  const asking = new AbortController();

  async function load() {
    try {
      fill(place, personCard(await get(`/people/${encodeURIComponent(serial)}`, {}, { signal: asking.signal })));
    } catch (problem) {
      if (problem.name !== "AbortError") fill(place, failed(problem, load));
    }
  }

  load();
  return { node, close: () => asking.abort() };
}

// --- everybody ---

function openSearch(query) {
  const filters = { q: query.q ?? "", gate: query.gate ?? "", standing: query.standing ?? "", sort: query.sort ?? "" };
  const total = el("p", { class: "quiet", role: "status" });
  const list = el("div", { class: "cards people" });
  const state = el("div");
  const more = el("button", { type: "button", hidden: true, on: { click: () => load() } }, "Show more");
  const bar = filterBar(filters, changed);
  const node = el("div", { class: "view" }, bar.node, total, state, list, el("div", { class: "row" }, more));
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
      const page = await get("/people", { q: filters.q, receiver: receiverOf(filters.gate), standing: filters.standing, sort: filters.sort, limit: PAGE, cursor }, { signal: mine.signal });
      const cards = worksAt(page.people, filters.gate).map((person) => personCard(person));
      if (anew) fill(list, cards);
      else list.append(...cards);
      cursor = page.next;
      more.hidden = !cursor;
      say(total, page.total === 0 ? "Nobody." : `${count(page.total, "person", "people")}${filters.q || filters.gate || filters.standing ? " found" : ""}.`);
      fill(state, page.total === 0 ? empty(filters.q || filters.gate || filters.standing ? "Nobody fits. Try a part of the name, or some digits of the serial." : "Nobody has access yet: the roster is empty.") : null);
    } catch (problem) {
      if (problem.name === "AbortError") return;
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
  const sort = field({ name: "sort", label: "Order", kind: "select", value: filters.sort, options: [{ value: "", text: "By holder" }, { value: "heard", text: "Last used first" }] });
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

