// A signed receipt in words, and as the file that somebody else can verify.

import { address, get } from "../api.js";
import { el, fill } from "../dom.js";
import { full } from "../times.js";
import { count } from "../words.js";
import { failed, loading } from "./notice.js";

/** The receipt of this id, read when somebody opens it; and the file to hand on. */
export function receiptOf(id) {
  const path = `/receipts/${encodeURIComponent(id)}`;
  const body = el("div", { class: "stack" });
  const node = el("details", { on: { toggle: () => node.open && !body.childNodes.length && load() } }, el("summary", {}, `Receipt ${id}`), body);

  async function load() {
    fill(body, loading());
    try {
      fill(body, wordsOf((await get(path)).receipt), el("p", {}, el("a", { href: address(path), download: `${id}.json` }, "Save the receipt")));
    } catch (problem) {
      fill(body, failed(problem, load));
    }
  }

  return node;
}

const DONE = {
  sync: () => "It was brought to the roster.",
  revocation: ({ revoked }) => `${count(revoked.length, "revoked transmitter is", "revoked transmitters are")} proven gone.`,
  restore: ({ snapshot }) => `The snapshot ${snapshot} was restored.`,
  clone: ({ snapshot }) => `The snapshot ${snapshot} of another receiver was brought here.`,
  enrolment: () => "Transmitters were let in before the roster has them.",
};

function wordsOf(receipt) {
  const { done = "sync", receiver, memory, roster, plan, clock, key, number } = receipt; // the first form tells of syncs alone
  const sentences = [
    DONE[done](receipt),
    `The memory of ${receiver.maker} ${receiver.product}, serial ${receiver.serial}, was then proven block by block: ${count(memory.transmitters, "transmitter")} at revision ${memory.revision}.`,
    `${full(clock.time)}${clock.trusted ? "" : ", by a clock that was not known to be right"}.`,
    rosterOf(roster),
    plan.written ? `${count(plan.written, "slot was", "slots were")} written.` : "Nothing had to be written.",
    plan.not_done > 0 && `${count(plan.not_done, "thing was", "things were")} left out by a rule.`,
    `It is number ${number} of this gateway, signed with the key ${key}. It names nobody; anybody with the public key can verify it.`,
  ];
  return el("ul", { class: "bullets" }, sentences.filter(Boolean).map((text) => el("li", {}, text)));
}

function rosterOf(roster) {
  if (!roster) return "No roster was in force.";
  const which = `the roster whose digest begins with ${roster.digest.slice(0, 12)}${roster.revision === null ? "" : `, signed as revision ${roster.revision}`}`;
  return roster.equal === false ? `It did not hold all that is wanted by ${which}.` : `It held exactly what is wanted by ${which}.`;
}
