// At a glance: is everything shut and healthy, and if not, what, why, and what to do.

import { el, fill, keep, say, set } from "../dom.js";
import { gatePicture } from "../parts/gate-picture.js";
import { empty, failed, loading, tag } from "../parts/notice.js";
import { operable } from "../parts/operable.js";
import { conditionKey, conditionOf } from "../parts/note.js";
import { to } from "../router.js";
import { may } from "../session.js";
import { connection, refresh, state, value, watch, watchConnection } from "../store.js";
import { moment, span } from "../times.js";
import { AGREEMENTS, count, LINKS, list, opened, placeName, sentence } from "../words.js";

const WATCHED = ["gates", "conditions", "receivers", "agreements", "gateway", "roster"];
const WHILE_MOVING_MS = 1500;

export const view = { path: "", title: "At a glance", open };

function open() {
  const lead = el("p", { class: "lead" });
  const gates = section("Gates");
  const others = section("Needs somebody");
  const receivers = section("Receivers");
  const gateway = section("Gateway");
  const node = el("div", { class: "view" }, lead, others.node, gates.node, el("div", { class: "pair" }, receivers.node, gateway.node));
  let moving = 0;
  let offered = null; // what may be operated from afar

  function draw() {
    clearTimeout(moving);
    const live = connection.state !== "lost";
    say(lead, leadOf(live));
    lead.classList.toggle("loading", live && !value("gates") && !state("gates").problem);
    drawGates(gates, live, (gate) => offered?.has(gate.id) ?? false);
    drawOthers(others, live);
    drawReceivers(receivers, live);
    drawGateway(gateway, live);
    // A gate that arrives tells nobody: its contact has spoken when it left.
    if (value("gates")?.gates.some((gate) => gate.position === "moving")) moving = setTimeout(() => refresh("gates"), WHILE_MOVING_MS);
  }

  const stops = [watch(WATCHED, draw), watchConnection(draw)];
  offered = operable(draw);
  return {
    node,
    close() {
      clearTimeout(moving);
      offered.close();
      for (const stop of stops) stop();
    },
  };
}

function section(title) {
  const body = el("div", { class: "stack" });
  return { node: el("section", { class: "section", "aria-label": title }, el("h2", {}, title), body), body, filled: "" };
}

/** Fill a section with one of its states; a list that stands there already is kept. */
function only(part, kind, make) {
  if (part.filled !== kind) fill(part.body, make());
  part.filled = kind;
  return part.body.firstElementChild;
}

/** True when there is nothing to show but that: loading, or what went wrong at the first try. */
function waits(part, name) {
  const { value: found, problem } = state(name);
  if (found) return false;
  if (problem) only(part, `failed ${problem.code}`, () => failed(problem, () => refresh(name)));
  else only(part, "loading", () => loading());
  return true;
}

// --- the first sentence ---

function leadOf(live) {
  const withGates = new Set((value("gates")?.gates ?? []).flatMap((gate) => gate.conditions));
  const others = (value("conditions")?.conditions ?? []).filter((each) => each.weight !== "notice" && !each.acknowledged && !withGates.has(each.id)).length;
  const gates = gatesInWords(live);
  if (!live || !value("gates") || !others) return gates;
  return `${gates} ${count(others, withGates.size ? "other thing" : "thing")} ${others === 1 ? "needs" : "need"} somebody.`;
}

function gatesInWords(live) {
  const gates = value("gates")?.gates;
  if (!live) return "Not live: nobody can tell from here how the gates stand now.";
  if (!gates) return state("gates").problem ? "How the gates stand could not be read." : "Asking the gateway.";
  if (!gates.length) return "No gate is described in the settings yet.";
  const needing = gates.filter(needs);
  const away = gates.filter((gate) => gate.position === "open" || gate.position === "moving");
  if (needing.length) return sentence(`${list(needing.map((gate) => gate.title))} ${needing.length === 1 ? "needs" : "need"} attention`);
  if (away.length) return sentence(`${list(away.map((gate) => gate.title))} ${away.length === 1 ? "is" : "are"} not shut; ${gates.length === 1 ? "it is" : `all ${gates.length} gates are`} healthy`);
  const unseen = gates.filter(unwatched);
  const shut = gates.filter((gate) => !unseen.includes(gate));
  const told = shut.length && `${shut.length > 1 && !unseen.length ? `All ${shut.length} gates` : list(shut.map((gate) => gate.title))} ${shut.length === 1 ? "is" : "are"} shut and healthy`;
  const not = unseen.length && `where ${list(unseen.map((gate) => gate.title))} ${unseen.length === 1 ? "stands" : "stand"} is not watched`;
  return sentence([told, not].filter(Boolean).join("; "));
}

// --- gates ---

function drawGates(part, live, isOperable) {
  if (waits(part, "gates")) return;
  const { gates } = value("gates");
  if (!gates.length) {
    only(part, "empty", () => empty("No gate is described yet. The settings say which outputs and contacts are a gate: docs/gates.md."));
    return;
  }
  const cards = only(part, "cards", () => el("div", { class: "cards" }));
  keep(cards, gates, { key: (gate) => gate.id, make: makeGate, update: (node, gate) => updateGate(node, gate, live, isOperable(gate)) });
}

function makeGate(gate) {
  return el(
    "article",
    { class: "sheet gate", "aria-label": gate.title },
    el("div", { class: "stack" }, el("h3", { class: "said" }), el("p", { class: "small quiet", "data-part": "health" })),
    el("ul", { class: "stack wide" }),
    el("p", { class: "small quiet stack wide", "data-part": "facts" }),
    el("p", { class: "row small wide" }, may("roster") && [el("a", { href: to("timeline", { gate: gate.id, kind: "use" }) }, "Who used it"), el("a", { href: to("access", { gate: gate.id }) }, "Who has access")], may("operate") && el("a", { href: to("operate", { gate: gate.id }), hidden: true, "data-part": "operate" }, "Operate it")),
  );
}

function updateGate(node, gate, live, isOperable) {
  const position = live ? gate.position : "unknown";
  const open = (value("conditions")?.conditions ?? []).filter((condition) => gate.conditions.includes(condition.id));
  if (node.dataset.position !== position) {
    node.dataset.position = position;
    node.querySelector("svg")?.remove();
    node.prepend(gatePicture(position));
  }
  set(node, "data-needs", live && needs(gate));
  if (may("operate")) node.querySelector("[data-part=operate]").hidden = !isOperable;
  say(node.querySelector(".said"), live ? gate.sentence : `Where ${gate.title} stands now is not known.`);
  say(node.querySelector("[data-part=health]"), health(gate, open, live));
  keep(node.querySelector("ul"), open, { key: conditionKey, make: conditionOf });
  say(node.querySelector("[data-part=facts]"), facts(gate));
}

function health(gate, open, live) {
  if (!live) {
    const at = moment(state("gates").readAt);
    return gate.position === "unknown" ? `It was not known at ${at} either.` : `At ${at} it was ${gate.position}.`;
  }
  if (gate.healthy) return "Healthy.";
  if (!needs(gate)) return "No trouble is known. A contact at its shut position, wired to an input of the receiver, would tell where it stands.";
  return open.length ? "▲ Needs attention." : "▲ Needs attention: where it stands can't be known. See its receiver below.";
}

/** Nothing is there that could tell where it stands: no contact, or no wire to its receiver. Nobody has to look after that. */
function unwatched(gate) {
  if (gate.position !== "unknown" || gate.conditions.length) return false;
  const byHand = value("receivers")?.receivers.some((receiver) => receiver.id === gate.receiver && receiver.link === "by-hand");
  return byHand || (gate.since === null && !gate.contacts.some((contact) => contact.role === "closed" || contact.role === "open"));
}

const needs = (gate) => !gate.healthy && !unwatched(gate);

function facts(gate) {
  const cycles = sentence(`${opened(gate)}${gate.service_cycles ? `; the next is due at ${gate.service_cycles.toLocaleString("en-GB")}` : ""}`);
  return gate.stay_open_limit_s ? `${cycles} May stay open for ${span(gate.stay_open_limit_s)}.` : cycles;
}

// --- what needs somebody and is no gate's ---

function drawOthers(part, live) {
  if (waits(part, "conditions")) return;
  const shown = new Set((value("gates")?.gates ?? []).flatMap((gate) => gate.conditions));
  const open = value("conditions").conditions.filter((condition) => !shown.has(condition.id));
  if (!open.length) {
    const words = !live ? "Not known at this moment." : shown.size ? "Nothing beside what stands with the gates below." : "Nothing.";
    only(part, words, () => empty(words));
    return;
  }
  const items = only(part, "list", () => el("ul", { class: "sheet" }));
  keep(items, open, { key: conditionKey, make: conditionOf });
}

// --- receivers ---

function drawReceivers(part, live) {
  if (waits(part, "receivers")) return;
  const { receivers } = value("receivers");
  if (!receivers.length) {
    only(part, "empty", () => empty("No receiver is described in the settings yet."));
    return;
  }
  const items = only(part, "list", () => el("ul", { class: "sheet lines" }));
  keep(items, receivers, {
    key: (receiver) => receiver.id,
    make: (receiver) => el("li", { class: "stack" }, el("div", { class: "row apart" }, el("h3", {}, placeName(receiver.id)), el("span")), el("p", { "data-part": "link" }), el("p", { class: "small quiet", "data-part": "agrees" }), el("p", { class: "small", "data-part": "remedy" }), el("p", { class: "small", "data-part": "way" })),
    update: (node, receiver) => updateReceiver(node, receiver, live),
  });
}

/** Where somebody sees more of it, or says what is right. */
const WAYS_ON = {
  differs: (receiver) => (receiver.link === "by-hand" ? sheetOf(receiver, "See what is to be done at its board") : el("a", { href: to("roster") }, "See what would change, and for whom")),
  unknown: (receiver) => receiver.link === "by-hand" && may("roster") && sheetOf(receiver, "Say what it holds"),
  waits: () => el("a", { href: to("snapshots") }, "Say what is right"),
};

const sheetOf = (receiver, text) => el("a", { href: to("visit-sheet", { receiver: receiver.id }) }, text);

function updateReceiver(node, receiver, live) {
  const agreement = value("agreements")?.agreements.find((each) => each.receiver === receiver.id);
  const told = live ? (agreement?.state ?? "") : "unknown";
  if (node.dataset.told !== told) {
    node.dataset.told = told;
    fill(node.querySelector("[data-part=way]"), WAYS_ON[told]?.(receiver));
    fill(node.querySelector(".row span"), told && tag(AGREEMENTS[told], { shape: { equal: "=", differs: "≠", waits: "Ⅱ", unknown: "?" }[told] }));
  }
  const link = node.querySelector("[data-part=link]");
  const words = live ? sentence(`${LINKS[receiver.link] ?? receiver.link}${receiver.link === "online" || receiver.link === "by-hand" ? "" : `, since ${moment(receiver.since)}`}`) : "Not known at this moment.";
  say(link, words);
  say(node.querySelector("[data-part=agrees]"), live ? agreesOf(agreement) : "");
  say(node.querySelector("[data-part=remedy]"), live && receiver.remedy ? `${receiver.problem} ${receiver.remedy}`.trim() : "");
}

function agreesOf(agreement) {
  if (!agreement) return "";
  return `${agreement.slots_used === null ? "" : `${count(agreement.slots_used, "transmitter")}. `}${agreement.sentence}`;
}

// --- the gateway itself ---

function drawGateway(part, live) {
  if (waits(part, "gateway")) return;
  const gateway = value("gateway");
  const roster = value("roster");
  const items = only(part, "list", () => el("ul", { class: "sheet lines" }));
  const rows = [
    { key: "clock", title: "Clock", text: live ? clockOf(gateway) : "Not known at this moment." },
    { key: "roster", title: "Roster", text: roster ? rosterOf(roster) : "Asking." },
    { key: "next", title: "Next fetch", text: gateway.next_run ? sentence(moment(gateway.next_run)) : "By hand only: no timetable is set." },
    ...gateway.notices.map((notice) => ({ key: `notice ${notice.code} ${notice.text}`, title: "Notice", text: `${notice.text} ${notice.remedy}` })),
  ];
  keep(items, rows, {
    key: (row) => row.key,
    make: (row) => el("li", { class: "stack" }, el("h3", {}, row.title), el("p", {})),
    update: (node, row) => say(node.lastElementChild, row.text),
  });
}

const clockOf = (gateway) => (gateway.clock.trusted ? `Known to be right. It was ${moment(gateway.clock.now)} when last asked.` : "Not known to be right: nothing is granted or ended by date until it is.");

function rosterOf(roster) {
  if (!roster.accepted) return roster.problem ? `None in force. ${roster.problem} ${roster.remedy}` : "None in force yet.";
  const words = `${count(roster.transmitters ?? 0, "transmitter")}, accepted ${moment(roster.accepted.time)}`;
  if (roster.problem) return `${words}. The last fetch was no good: ${roster.problem} ${roster.remedy}`;
  return sentence(roster.last_good ? `${words}; looked for news at ${moment(roster.last_good)}` : words);
}
