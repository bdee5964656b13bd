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

function wordsOf({ receiver, memory, roster, plan, clock, key, number }) {
  const sentences = [
    `The memory of ${receiver.maker} ${receiver.product}, serial ${receiver.serial}, was proven to hold what the roster says: ${count(memory.transmitters, "transmitter")} at revision ${memory.revision}.`,
    `${full(clock.time)}${clock.trusted ? "" : ", by a clock that was not known to be right"}.`,
    `The roster's digest begins with ${roster.digest.slice(0, 12)}${roster.revision === null ? "" : `; its signed revision is ${roster.revision}`}.`,
    plan.written ? `${count(plan.written, "slot was", "slots were")} written.` : "Nothing had to be written.",
    plan.not_done > 0 && `${count(plan.not_done, "thing")} that the roster names was left out by a rule.`,
    `It is number ${number} of this gateway, signed with the key ${key}. It names nobody; anybody with the public key can verify it.`,
  ];
  return el("ul", { class: "bullets" }, sentences.filter(Boolean).map((text) => el("li", {}, text)));
}
