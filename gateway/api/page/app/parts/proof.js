// The proof that a revoked transmitter is gone: receiver by receiver, with the time, as it comes.

import { get, remove } from "../api.js";
import { el, fill, keep, say } from "../dom.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { value, watch, watchEvents } from "../store.js";
import { seconds, span, timeOf } from "../times.js";
import { CAUTIONS, LINKS, list, placeName } from "../words.js";
import { whenBack } from "./again.js";
import { confirm } from "./confirm.js";
import { field } from "./form.js";
import { caution, failed, loading, tag } from "./notice.js";
import { receiptOf } from "./receipt.js";

const WORDS = { proven: ["Gone, proven", "="], pending: ["Pending", "≠"], owed: ["To be done by hand", "≠"], "by-hand": ["Done by hand, not proven", "?"] };
const AGAIN_MS = 4000; // a receiver that comes back tells its link first and its proof a little later

/** One revocation. `lifted()` is called when somebody has lifted it, `proven()` when it is proven everywhere. Returns {node, close}. */
export function proofOf(serial, { holder = "", lifted = () => {}, proven = () => {} } = {}) {
  const lead = el("p", { class: "lead" });
  const facts = el("p", { class: "small quiet" });
  const receivers = el("ul", { class: "lines" });
  const status = el("div", {}, loading());
  const end = el("div", { class: "stack" });
  const node = el("div", { class: "stack", "data-serial": serial, role: "group", "aria-label": `Proof for ${serial}` }, el("h3", {}, holder && `${holder}, `, el("span", { class: "figures gone" }, serial)), status, lead, receivers, facts, end);
  const asking = new AbortController();
  const path = `/revocations/${encodeURIComponent(serial)}`;
  let found = null;
  let proofs = new Map();
  let told = false;
  let busy = false;
  let again = false; // an event came while the answer before it was on its way
  let timer = 0;

  async function load() {
    clearTimeout(timer);
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    again = false;
    try {
      found = await get(path, {}, { signal: asking.signal });
      proofs = await proofsOf(found, asking.signal);
      fill(status);
      draw();
    } catch (problem) {
      if (problem.name === "AbortError") return;
      fill(status, problem.status === 404 ? el("p", {}, "It is not revoked any more.") : failed(problem, load));
      if (problem.status === 404) fill(end);
    } finally {
      busy = false;
    }
    if (!asking.signal.aborted && found && (again || !found.proven)) timer = setTimeout(load, again ? 0 : AGAIN_MS);
  }

  function draw() {
    if (!found) return;
    if (lead.textContent !== leadOf(found)) politely(leadOf(found));
    say(lead, leadOf(found));
    if (found.proven && !told) {
      told = true;
      proven();
    }
    keep(receivers, Object.entries(found.states), {
      key: ([receiver]) => receiver,
      make: ([receiver]) => el("li", { class: "stack" }, el("div", { class: "row apart" }, el("h4", {}, placeName(receiver)), el("span")), el("p"), el("div")),
      update: (item, [receiver, state]) => {
        const [words, shape] = WORDS[state] ?? [state, "?"];
        if (item.dataset.state !== state) fill(item.querySelector("span"), tag(words, { shape }));
        item.dataset.state = state;
        const { time, receipt } = (state === "proven" && proofs.get(receiver)) || {};
        say(item.querySelector("p"), sentenceOf(state, receiver, found, time));
        if ((item.dataset.receipt ?? "") !== (receipt ?? "")) fill(item.lastElementChild, receipt && receiptOf(receipt));
        item.dataset.receipt = receipt ?? "";
      },
    });
    if (!facts.childNodes.length) fill(facts, "Revoked ", timeOf(found.time, seconds(found.time)), `: ${found.reason}. `, el("a", { href: to("timeline", { who: serial }) }, "Its timeline"));
    if (!end.childNodes.length) fill(end, lifting());
  }

  const lifting = () =>
    confirm({
      open: "Lift the revocation",
      action: "Lift it",
      about: "The roster decides about this transmitter again: if it lists it, the next run brings it back to the receivers.",
      fields: () => [field({ name: "reason", label: "Why it may work again", required: true, maxlength: 500, hint: "For those who ask later: it was found." }), caution(CAUTIONS.dates)],
      async send({ reason }) {
        await remove(path, { reason });
      },
      done() {
        politely("Lifted.");
        lifted();
      },
    });

  const stops = [
    watchEvents((event) => event.type.startsWith("local.gatepost.revocation.") && event.data.serial === serial && load()),
    watch(["receivers"], draw),
    whenBack(load),
  ];
  load();
  return {
    node,
    close() {
      clearTimeout(timer);
      asking.abort();
      for (const stop of stops) stop();
    },
  };
}

function leadOf({ states, proven }) {
  const all = Object.entries(states);
  const waiting = all.filter(([, state]) => state === "pending" || state === "owed").map(([receiver]) => placeName(receiver));
  if (!all.length) return "No receiver here has a memory for transmitters.";
  if (proven) return all.length === 1 ? "Proven: it is gone." : `Proven at all ${all.length} receivers: it is gone.`;
  if (waiting.length) return `In force, but not gone everywhere yet: ${list(waiting)} may still hold it.`;
  return "Gone as far as people say; where no line reaches, nobody can prove it.";
}

function sentenceOf(state, receiver, { time }, at) {
  if (state === "proven") {
    if (!at) return "Its memory was read and lacks it.";
    const late = (Date.parse(at) - Date.parse(time)) / 1000;
    return `Its memory was read at ${seconds(at)} and lacks it, ${late < 1 ? "less than 1 s" : span(late)} after it was revoked.`;
  }
  if (state === "owed") return "No line reaches it: it is taken out at the next visit, and may still work there until then.";
  if (state === "by-hand") return "It was taken out by hand; nobody can prove it.";
  const row = value("receivers")?.receivers.find((each) => each.id === receiver);
  if (!row || row.link === "online") return "Being taken out now.";
  return `The receiver can't be worked now: it ${LINKS[row.link] ?? row.link}. Until then the transmitter may still work there. It is taken out as soon as the receiver can be reached. ${row.remedy}`.trim();
}

/** When each receiver was proven, and by which receipt: the events of this revocation tell it. */
async function proofsOf({ serial, time }, signal) {
  const { events } = await get("/events", { name: "revocation.applied", limit: 500 }, { signal });
  const mine = events.filter((event) => event.data.serial === serial && event.data.proven && Math.abs(Date.parse(event.data.asked) - Date.parse(time)) < 1000);
  return new Map(mine.reverse().map((event) => [event.subject, { time: event.time, receipt: event.data.receipt }])); // the newest proof counts
}
