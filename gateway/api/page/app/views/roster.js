// Roster and changes: which roster is in force, what would be written where, what waits for approval, what was written.

import { get, newKey, post } from "../api.js";
import { el, fill, keep, say } from "../dom.js";
import { whenBack } from "../parts/again.js";
import { confirm } from "../parts/confirm.js";
import { caution, empty, failed, loading, notAllowed, tag } from "../parts/notice.js";
import { papersOf, planCard, planTag, planWords, previewOf, reasonOf } from "../parts/plan.js";
import { faultTable, rosterCheck } from "../parts/roster-check.js";
import { table } from "../parts/table.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { may } from "../session.js";
import { connection, refresh, state, value, watch, watchConnection, watchEvents } from "../store.js";
import { full, moment, timeOf } from "../times.js";
import { AGREEMENTS, CAUTIONS, count, placeName, sentence } from "../words.js";

export const view = { path: "roster", title: "Roster and changes", open };

const PAGE = 20;

function open(query) {
  return query.plan ? openPlan(query.plan) : openAll();
}

function openPlan(id) {
  const card = planCard(id);
  return { node: el("div", { class: "view" }, el("p", {}, el("a", { href: to("roster") }, "Roster and all changes")), card.node), close: card.close };
}

function openAll() {
  const parts = [rosterPart(), waitingPart(), receiversPart(), pastPart()];
  const check = section("Check a roster file", may("roster") ? rosterCheck() : notAllowed("roster"));
  const node = el("div", { class: "view" }, parts.slice(0, 3).map((part) => part.node), check, parts[3].node);
  return { node, close: () => parts.forEach((part) => part.close()) };
}

const section = (title, ...children) => el("section", { class: "section", "aria-label": title }, el("h2", {}, title), children);

// --- the roster in force ---

function rosterPart() {
  const facts = el("ul", { class: "sheet lines" });
  const trouble = el("div", { class: "stack" });
  const fetching = el("button", { type: "button", on: { click: fetchNow } }, "Ask the source now");
  const waits = el("div", {}, loading());
  let faults = "";

  async function fetchNow() {
    fetching.setAttribute("aria-busy", "true");
    try {
      const { body } = await post("/roster/fetches");
      politely(body.problem ? "The source was asked; its roster is no good." : "The source was asked.");
      fill(waits);
    } catch (problem) {
      fill(waits, failed(problem));
    } finally {
      fetching.removeAttribute("aria-busy");
      refresh("roster", "gateway", "agreements");
    }
  }

  function draw() {
    const { value: roster, problem } = state("roster");
    if (!roster) {
      fill(waits, problem ? failed(problem, () => refresh("roster")) : loading());
      return;
    }
    if (waits.querySelector(".loading")) fill(waits);
    keep(facts, factsOf(roster), {
      key: (fact) => fact.title,
      make: (fact) => el("li", { class: "fact" }, el("h3", {}, fact.title), el("p", {})),
      update: (item, fact) => say(item.lastElementChild, fact.text),
    });
    const now = JSON.stringify([roster.problem, roster.faults, roster.warnings]);
    if (now === faults) return;
    faults = now;
    fill(
      trouble,
      roster.problem && el("div", { class: "notice", "data-kind": "failed" }, el("strong", {}, el("span", { "aria-hidden": "true" }, "◆"), roster.problem), el("p", {}, roster.remedy), el("p", {}, "The last good roster stays in force.")),
      roster.faults?.length > 0 && faultTable("Faults of the roster that was fetched last", roster.faults),
      roster.warnings?.length > 0 && faultTable("Doubts in it: read as said here", roster.warnings),
    );
  }

  const close = watch(["roster"], draw);
  return { node: section("Roster in force", waits, facts, trouble, may("roster") && el("div", { class: "row" }, fetching)), close };
}

function factsOf(roster) {
  const { accepted, next_change: change } = roster;
  return [
    { title: "In force", text: accepted ? `${count(roster.transmitters ?? 0, "transmitter")}, accepted ${full(accepted.time)}${accepted.revision === null ? "" : `, signed revision ${accepted.revision}`}. Its digest begins with ${accepted.digest.slice(0, 12)}.` : "None yet." },
    { title: "Comes from", text: roster.place || "No source is set." },
    { title: "Last asked", text: `${roster.last_fetch ? moment(roster.last_fetch) : "Never since the start"}${roster.last_good && roster.last_good !== roster.last_fetch ? `; last answered well ${moment(roster.last_good)}` : ""}.` },
    { title: "Next run", text: roster.next_run ? `${sentence(moment(roster.next_run))} The source is asked, and what is new goes to the receivers.` : "By hand only: no timetable is set." },
    { title: "Next change by date", text: change ? `${full(change.time)}: ${changeWords(change)}.` : "None that is known." },
  ];
}

const changeWords = ({ begin, end }) => [begin && `${count(begin, "transmitter begins", "transmitters begin")}`, end && `${count(end, "transmitter ends", "transmitters end")}`].filter(Boolean).join(", ") || "rows change";

// --- what waits for approval, and what is being written ---

function waitingPart() {
  const list = el("div", { class: "stack" });
  const status = el("div", {}, loading());
  const cards = new Map();

  async function load() {
    try {
      const { plans } = await get("/plans", { open: true });
      for (const plan of plans) if (!cards.has(plan.id)) cards.set(plan.id, planCard(plan.id));
      // One that is over stays in sight, with its outcome, as long as the view is open.
      keep(list, [...cards.keys()], { key: (id) => id, make: (id) => cards.get(id).node });
      fill(status, cards.size ? null : empty("Nothing waits for approval, and nothing is being written."));
    } catch (problem) {
      fill(status, failed(problem, load));
    }
  }

  const stops = [watchEvents((event) => event.type.startsWith("local.gatepost.plan.") && load()), whenBack(load)];
  load();
  return {
    node: section("Waits for approval, or is being written", status, list),
    close() {
      for (const stop of stops) stop();
      for (const card of cards.values()) card.close();
    },
  };
}

// --- each receiver: how it stands, preview, bring the roster there ---

function receiversPart() {
  const list = el("div", { class: "stack" });
  const status = el("div", {}, loading());
  const closing = [];

  function draw() {
    const { value: found, problem } = state("receivers");
    if (!found) {
      fill(status, problem ? failed(problem, () => refresh("receivers")) : loading());
      return;
    }
    const withMemory = found.receivers.filter((receiver) => receiver.capabilities.includes("slots"));
    fill(status, withMemory.length ? null : empty("No receiver here has a memory for transmitters."));
    keep(list, withMemory, { key: (receiver) => receiver.id, make: (receiver) => receiverCard(receiver, closing), update: updateReceiver });
  }

  const stops = [watch(["receivers", "agreements"], draw), watchConnection(draw)];
  return {
    node: section("What each receiver holds", status, list),
    close() {
      for (const stop of stops) stop();
      for (const end of closing) end();
    },
  };
}

function receiverCard(receiver, closing) {
  const place = el("div", { class: "stack" });
  const look = el("button", { type: "button", on: { click: preview } }, "Preview");
  let key = newKey();
  let made = null;

  async function preview() {
    look.setAttribute("aria-busy", "true");
    try {
      const { body } = await post("/plans", { receiver: receiver.id, preview: true });
      key = newKey();
      fill(place, el("div", { class: "stack", role: "group", "aria-label": `Preview for ${placeName(receiver.id)}` }, previewOf(body), body.changes.length > 0 && (body.by_hand ? byHand(receiver) : bring())));
      politely(planWords(body));
    } catch (problem) {
      fill(place, failed(problem, preview));
    } finally {
      look.removeAttribute("aria-busy");
    }
  }

  const bring = () =>
    confirm({
      open: "Bring it there now",
      action: "Write it",
      about: ["It is compared anew with the roster in force, written, and read back. What would take away much waits for approval."],
      fields: () => caution(CAUTIONS.exits),
      async send() {
        made = (await post("/plans", { receiver: receiver.id }, { key })).body;
      },
      done() {
        const card = planCard(made.id);
        closing.push(card.close);
        fill(place, card.node);
        card.node.focus();
      },
    });

  return el(
    "article",
    { class: "sheet", "aria-label": placeName(receiver.id) },
    el("div", { class: "row apart" }, el("h3", {}, placeName(receiver.id)), el("span", { "data-part": "tag" })),
    el("p", { "data-part": "says" }),
    el("p", { class: "small", "data-part": "waits", hidden: true }, "Somebody restored or cleared it, and the roster waits. ", el("a", { href: to("snapshots") }, "Say what is right")),
    may("roster") && el("div", { class: "row" }, look),
    place,
  );
}

const byHand = (receiver) => el("p", {}, `No line reaches ${placeName(receiver.id)}: this is done by hand, by `, el("a", { href: to("visit-sheet", { receiver: receiver.id }) }, "its visit sheet"), ".");

function updateReceiver(node, receiver) {
  const agreement = value("agreements")?.agreements.find((each) => each.receiver === receiver.id);
  const live = connection.state !== "lost";
  const told = live ? (agreement?.state ?? "") : "unknown";
  if (node.dataset.told !== told) {
    node.dataset.told = told;
    fill(node.querySelector("[data-part=tag]"), told && tag(AGREEMENTS[told], { shape: { equal: "=", differs: "≠", waits: "Ⅱ", unknown: "?" }[told] }));
  }
  say(node.querySelector("[data-part=says]"), !live ? `Not known at this moment. At ${moment(state("agreements").readAt)} it was: ${(AGREEMENTS[agreement?.state] ?? AGREEMENTS.unknown).toLowerCase()}.` : agreement ? `${agreement.slots_used === null ? "" : `${count(agreement.slots_used, "transmitter")}. `}${agreement.sentence}` : "Asking.");
  node.querySelector("[data-part=waits]").hidden = !receiver.waiting || receiver.waiting.snapshot_approved;
}

// --- what was written ---

function pastPart() {
  const status = el("div", {}, loading());
  const more = el("button", { type: "button", hidden: true, on: { click: () => load() } }, "Show older ones");
  const rows = [];
  const found = table({
    caption: "Newest first",
    columns: [
      { key: "created", title: "Made", head: true, cell: (plan) => el("a", { href: to("roster", { plan: plan.id }) }, timeOf(plan.created)) },
      { key: "receiver", title: "Receiver", cell: (plan) => placeName(plan.receiver) },
      { key: "reason", title: "Why", cell: reasonOf },
      { key: "what", title: "What", cell: (plan) => `${count(plan.gaining, "gains", "gain")}, ${count(plan.losing, "loses", "lose")}` },
      { key: "state", title: "How it stands", cell: (plan) => el("div", { class: "stack" }, el("span", {}, planTag(plan)), el("span", { class: "small" }, sentence(plan.outcome || plan.hold))) },
      { key: "papers", title: "Proof", cell: (plan) => papersOf(plan) ?? "none" },
    ],
  });
  const place = el("div");
  let cursor = null;
  let timer = 0;

  async function load(anew = false) {
    try {
      const page = await get("/plans", { limit: PAGE, cursor: anew ? null : cursor });
      if (anew) rows.length = 0;
      rows.push(...page.plans);
      cursor = page.next;
      more.hidden = !cursor;
      found.show(rows);
      fill(place, rows.length > 0 && found.node);
      fill(status, rows.length ? null : empty("Nothing was changed yet. The first changes are prepared at the next run, or when somebody brings the roster to a receiver."));
    } catch (problem) {
      fill(status, failed(problem, () => load(anew)));
    }
  }

  function again() {
    if (rows.length > PAGE) return; // who has gone back further reads on undisturbed
    clearTimeout(timer);
    timer = setTimeout(() => load(true), 300);
  }

  const stops = [watchEvents((event) => event.type.startsWith("local.gatepost.plan.") && again()), whenBack(again)];
  load(true);
  return {
    node: section("Changes so far", status, place, el("div", { class: "row" }, more)),
    close() {
      clearTimeout(timer);
      for (const stop of stops) stop();
    },
  };
}
