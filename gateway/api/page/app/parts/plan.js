// A plan in words: who loses, who gains, how far it is, and what a person decides about it.

import { address, get, newKey, post } from "../api.js";
import { el, fill } from "../dom.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { may } from "../session.js";
import { refresh, watchEvents } from "../store.js";
import { span, timeOf } from "../times.js";
import { CAUTIONS, count, list, placeName, sentence } from "../words.js";
import { whenBack } from "./again.js";
import { confirm } from "./confirm.js";
import { field } from "./form.js";
import { caution, failed, loading, tag } from "./notice.js";
import { poll, progress } from "./progress.js";
import { receiptOf } from "./receipt.js";

export const PLAN_STATES = { preview: "Preview", held: "Waits for approval", pending: "About to be written", applying: "Being written", applied: "Written and proven", failed: "Failed", refused: "Refused", superseded: "Overtaken" };
const SHAPES = { preview: "?", held: "◆", pending: "→", applying: "→", applied: "=", failed: "▲", refused: "×", superseded: "×" };
const REASONS = { roster: "To the roster", additions: "Additions of the roster", restore: "To a snapshot", clone: "To another receiver's snapshot", enrolment: "Enrolled or edited" };
const RUNS = new Set(["pending", "applying"]);
const FIRST = 40; // more of them stand behind a button

const BY_HAND = { pending: "On the visit sheet", applying: "On the visit sheet", applied: "Done by hand, not proven" };

export const stateOf = (plan) => (plan.by_hand && BY_HAND[plan.state]) || (PLAN_STATES[plan.state] ?? plan.state);
export const reasonOf = (plan) => REASONS[plan.reason] ?? sentence(plan.reason);
export const planTag = (plan) => tag(stateOf(plan), { shape: plan.by_hand && plan.state === "applied" ? "?" : SHAPES[plan.state], weight: plan.state === "held" ? "trouble" : plan.state === "failed" ? "alarm" : null });

/** `Adds 3, changes 1, takes away 2, leaves 381 as they are; about 4 s on the wire.` */
export function planWords(plan) {
  const parts = [plan.added && `adds ${plan.added}`, plan.changed && `changes ${plan.changed}`, plan.removed && `takes away ${plan.removed}`].filter(Boolean);
  if (!parts.length) return `Nothing to write: ${count(plan.unchanged, "transmitter")} as wanted.`;
  const wire = plan.by_hand ? "to be done by hand" : plan.wire_s < 1 ? "less than 1 s on the wire" : `about ${span(plan.wire_s)} on the wire`;
  return sentence(`${list(parts)}${plan.unchanged ? `; ${plan.unchanged} stay as they are` : ""}; ${wire}`);
}

/** Who loses, who gains, what changes otherwise, and what is left out and why. */
export function changesOf(plan) {
  const loses = plan.changes.filter((change) => Object.keys(change.loses).length);
  const gains = plan.changes.filter((change) => Object.keys(change.gains).length && !Object.keys(change.loses).length);
  const others = plan.changes.filter((change) => !loses.includes(change) && !gains.includes(change));
  return el(
    "div",
    { class: "stack" },
    changeList(loses, `− ${count(loses.length, "transmitter loses", "transmitters lose")} something`),
    changeList(gains, `+ ${count(gains.length, "transmitter gains", "transmitters gain")} something`),
    changeList(others, `${count(others.length, "transmitter is", "transmitters are")} written anew; nobody gains or loses by it`),
    lines("Left out", plan.left_out ?? []),
  );
}

/** A heading with sentences below it; the rest of a long list stands behind a button. */
export function lines(title, sentences) {
  if (!sentences.length) return null;
  const items = el("ul", { class: "bullets" }, sentences.slice(0, FIRST).map(line));
  const more = el("button", { type: "button", hidden: sentences.length <= FIRST, on: { click: all } }, `Show all ${sentences.length.toLocaleString("en-GB")}`);
  function all() {
    items.append(...sentences.slice(FIRST).map(line));
    more.hidden = true;
    items.children[FIRST].setAttribute("tabindex", "-1");
    items.children[FIRST].focus();
  }
  return el("div", { class: "stack", role: "group", "aria-label": title }, el("h4", {}, title), items, more);
}

const line = (text) => el("li", {}, sentence(text));
const WITHOUT_NAMES = { added: "is added", changed: "is changed", removed: "is taken away" };
const changeList = (changes, title) => lines(title, changes.map((change) => change.words ?? `slot ${change.slot}: transmitter ${change.serial} ${WITHOUT_NAMES[change.kind]}`));

/**
 * One plan that stays true: it is asked for again while it is written, and when an event tells of it. `ended(plan)` is
 * called once when it is over. Returns {node, close}.
 */
export function planCard(id, { ended = () => {} } = {}) {
  const head = el("div", { class: "row apart" });
  const about = el("div", { class: "stack" }, loading());
  const bar = progress("How far the writing is");
  const decide = el("div", { class: "stack" });
  const more = el("div", { class: "stack" });
  const node = el("article", { class: "sheet plan", "data-plan": id, tabindex: "-1" }, head, about, bar.node, decide, more);
  const asking = new AbortController();
  let shown = "";
  let following = false;
  let told = false;
  bar.node.hidden = true;

  async function load() {
    try {
      const plan = await get(`/plans/${encodeURIComponent(id)}`, {}, { signal: asking.signal });
      draw(plan);
      if (RUNS.has(plan.state) && !plan.by_hand) await follow(); // people work by hand for days: events tell how it goes
      else if (!told && !RUNS.has(plan.state) && plan.state !== "held") {
        told = true;
        ended(plan);
      }
    } catch (problem) {
      if (problem.name === "AbortError") return;
      shown = "";
      fill(about, failed(problem, load));
    }
  }

  async function follow() {
    if (following) return;
    following = true;
    bar.node.hidden = false;
    try {
      const last = await poll(`/plans/${encodeURIComponent(id)}/application`, { tell: bar.show, isOver: (answer) => !RUNS.has(answer.state), signal: asking.signal });
      politely(last.state === "applied" ? "Written and proven." : (PLAN_STATES[last.state] ?? ""));
      refresh("receivers", "agreements", "roster");
    } finally {
      following = false;
      bar.node.hidden = true;
    }
    await load();
  }

  function draw(plan) {
    const now = `${plan.state} ${plan.outcome} ${plan.receipt} ${plan.hold}`;
    if (now === shown) return;
    shown = now;
    node.dataset.state = plan.state;
    node.setAttribute("aria-label", `Changes for ${placeName(plan.receiver)}`);
    const had = node.contains(document.activeElement);
    const title = el("h3", { tabindex: "-1" }, placeName(plan.receiver));
    fill(head, title, planTag(plan));
    fill(about, plan.hold && el("p", {}, el("strong", {}, plan.hold)), el("p", {}, planWords(plan)), plan.outcome && el("p", {}, sentence(plan.outcome)), plan.by_hand && RUNS.has(plan.state) && el("p", {}, el("a", { href: to("visit-sheet", { receiver: plan.receiver }) }, "Its visit sheet")), el("p", { class: "small quiet" }, `${reasonOf(plan)}, made `, timeOf(plan.created), `. Number ${plan.id}.`));
    fill(decide, plan.state === "held" && may("roster") && decisions(plan, load));
    fill(more, plan.receipt && receiptOf(plan.receipt), papersOf({ ...plan, receipt: "" }), changesOf(plan));
    if (had && !node.contains(document.activeElement)) title.focus(); // the button that was pressed is gone
  }

  const stops = [watchEvents((event) => event.data.plan === id && load()), whenBack(load)];
  load();
  return {
    node,
    close() {
      for (const stop of stops) stop();
      asking.abort();
    },
  };
}

/** Approve a held plan, or say no to it with a reason. */
function decisions(plan, again) {
  let key = newKey();
  const after = () => {
    key = newKey();
    refresh("receivers", "agreements", "roster");
    again();
  };
  return el(
    "div",
    { class: "row" },
    confirm({
      open: "Approve",
      action: "Approve and write it",
      about: [el("strong", {}, `${planWords(plan)} `), "Every slot is read back, and what the receiver held is kept as a snapshot."],
      fields: () => caution(CAUTIONS.exits),
      send: () => post(`/plans/${encodeURIComponent(plan.id)}/application`, undefined, { key }),
      done: after,
    }),
    confirm({
      open: "Refuse",
      action: "Refuse it",
      about: "Nothing is written. It stays refused as long as this roster is in force; another roster is judged anew.",
      fields: () => field({ name: "reason", label: "Why not", required: true, maxlength: 300 }),
      send: ({ reason }) => post(`/plans/${encodeURIComponent(plan.id)}/refusal`, { reason }, { key }),
      done: after,
    }),
  );
}

/** The snapshot before it, and the receipt behind it. */
export function papersOf(plan) {
  if (!plan.snapshot && !plan.receipt) return null;
  return el(
    "p",
    { class: "row small" },
    plan.receipt && el("a", { href: address(`/receipts/${encodeURIComponent(plan.receipt)}`), download: `${plan.receipt}.json` }, `Receipt ${plan.receipt}`),
    plan.snapshot && may("roster") && el("a", { href: to("snapshots", { compare: plan.snapshot, with: plan.receiver }) }, "What has changed since before it"),
  );
}

/** A preview: the same words, and nothing to decide. */
export function previewOf(plan) {
  return el("div", { class: "stack" }, el("p", {}, el("strong", {}, planWords(plan))), plan.hold && el("p", {}, tag("Would wait for approval", { weight: "trouble", shape: "◆" }), ` ${plan.hold}`), changesOf(plan));
}
