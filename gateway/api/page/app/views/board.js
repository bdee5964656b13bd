// What was changed at the board, or by another tool: added, missing, changed, in words, with what becomes of it by itself
// and what a person can decide.

import { get, newKey, post } from "../api.js";
import { el, fill, keep, say } from "../dom.js";
import { whenBack } from "../parts/again.js";
import { confirm } from "../parts/confirm.js";
import { field } from "../parts/form.js";
import { caution, empty, failed, loading, tag } from "../parts/notice.js";
import { planCard } from "../parts/plan.js";
import { replaceQuery, to } from "../router.js";
import { politely } from "../say.js";
import { refresh, value, watch, watchEvents } from "../store.js";
import { callerName, CAUTIONS, count, placeName } from "../words.js";

export const view = { path: "board", title: "Changed at the board", scope: "roster", open };

const SETTLE_MS = 400;
const KINDS = { extra: ["Added", "+"], missing: ["Missing", "−"], changed: ["Changed", "≠"] };
const STATES = { open: "Waits for a decision", going: "Goes with the next changes", adopted: "Stays until the roster has it", stands: "Stays away" };
const DECISIONS = {
  adopt: { open: "Let it stay", action: "Let it stay", about: "It stays as it is until the roster has it; then the roster decides. Enter it in the roster." },
  remove: { open: "Put it right", action: "Put it right", about: "What was added is taken out, what was changed is put back as the roster says. A snapshot comes first." },
  restore: { open: "Give it back", action: "Give it back", about: "What was taken away comes back as the roster says." },
  revoke: { open: "Revoke it", action: "Revoke it", about: "It must not work anywhere from now on, whatever the roster says." },
};

function open(query) {
  const lead = el("p", { class: "lead", role: "status" });
  const at = field({ name: "receiver", label: "Receiver", kind: "select", options: [{ value: "", text: "Every receiver" }] });
  const select = at.querySelector("select");
  const state = el("div", { class: "stack" }, loading());
  const list = el("ul", { class: "cards" });
  const said = el("div", { class: "stack said", tabindex: "-1" });
  const plans = el("div", { class: "stack" });
  const more = el("button", { type: "button", hidden: true, on: { click: () => load(true) } }, "Show more");
  const node = el("div", { class: "view" }, lead, el("form", { class: "sheet filters", "aria-label": "Which receiver", on: { submit: (event) => event.preventDefault() } }, at), said, plans, state, list, el("div", { class: "row" }, more));
  let asking = null;
  let cursor = "";
  let rows = [];
  let later = 0;
  const cards = [];

  async function load(further = false) {
    asking?.abort();
    const mine = (asking = new AbortController());
    try {
      const page = await get("/drift", { receiver: select.value || query.receiver, limit: 100, cursor: further ? cursor : "" }, { signal: mine.signal });
      rows = further ? [...rows, ...page.drift] : page.drift;
      cursor = page.next ?? "";
      more.hidden = !cursor;
      draw();
    } catch (problem) {
      if (problem.name !== "AbortError") fill(state, failed(problem, () => load()));
    }
  }

  function draw() {
    const todo = rows.filter((each) => each.todo).length;
    say(lead, todo ? `${count(todo, "change needs", "changes need")} somebody.` : rows.length ? "Nothing here needs somebody." : "");
    fill(state, rows.length ? null : empty("The receivers hold what the roster and this gateway put there, and nothing else."));
    keep(list, rows, { key: (each) => `${each.receiver} ${each.serial} ${each.kind} ${each.state} ${each.words}`, make: card });
  }

  function card(each) {
    const [word, shape] = KINDS[each.kind];
    return el(
      "li",
      { class: "sheet" },
      el("div", { class: "row apart" }, el("h3", {}, el("a", { href: to("people", { id: each.serial }) }, each.holder || each.serial)), tag(word, { shape, weight: each.todo ? "trouble" : null })),
      el("p", { class: "quiet small" }, `${placeName(each.receiver)}. ${STATES[each.state]}.`),
      el("p", {}, each.words),
      el("p", {}, each.next_step),
      each.todo && el("p", {}, el("strong", {}, "To do: "), each.todo),
      each.rights && each.kind !== "missing" && el("p", { class: "small quiet" }, "As a row of the roster writes it: ", el("code", {}, each.rights)),
      each.decided_by && el("p", { class: "small quiet" }, `Decided by ${callerName(each.decided_by)}.`),
      el("div", { class: "row" }, each.decisions.map((decision) => decide(each, decision))),
    );
  }

  function decide(each, decision) {
    let key = newKey();
    const { open: words, action, about } = DECISIONS[decision];
    return confirm({
      open: words,
      action,
      about,
      fields: () => (decision === "revoke" || decision === "remove") && caution(CAUTIONS.exits),
      async send() {
        const { body } = await post(`/receivers/${encodeURIComponent(each.receiver)}/drift/${each.serial}/decision`, { decision }, { key });
        key = newKey();
        told(body);
      },
    });
  }

  function told(answer) {
    fill(said, el("div", { class: "notice" }, el("strong", {}, "Decided"), el("p", {}, answer.words)));
    politely(answer.words);
    if (answer.plan) {
      const plan = planCard(answer.plan, { ended: () => load() });
      cards.push(plan);
      fill(plans, plan.node);
    }
    refresh("receivers", "agreements", "conditions");
    load();
    said.focus();
  }

  select.addEventListener("input", () => {
    query = { receiver: select.value };
    replaceQuery(query);
    load();
  });
  const stops = [
    whenBack(() => load()),
    watch(["receivers"], () => {
      const found = (value("receivers")?.receivers ?? []).filter((each) => each.capabilities.includes("slots") && each.link !== "by-hand");
      if (select.options.length !== found.length + 1) fill(select, [{ id: "" }, ...found].map(({ id }) => el("option", { value: id, selected: id === (query.receiver ?? "") }, id ? placeName(id) : "Every receiver")));
    }),
    watchEvents(({ type }) => {
      if (!/\.(drift\.\w+|plan\.applied|roster\.fetched|revocation\.\w+|slot\.changed|settings\.changed)$/.test(type)) return;
      clearTimeout(later);
      later = setTimeout(() => load(), SETTLE_MS);
    }),
  ];
  load();
  return {
    node,
    close() {
      asking?.abort();
      clearTimeout(later);
      stops.forEach((stop) => stop());
      cards.forEach((each) => each.close());
    },
  };
}
