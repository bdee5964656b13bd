// Long work: a bar with its words, and asking again until it is over.

import { get } from "../api.js";
import { el, say, set } from "../dom.js";

/** A bar. `show({done, total, words})`; without a total it only says that something goes on. */
export function progress(label) {
  const bar = el("progress", { "aria-label": label });
  const words = el("p", { class: "small quiet" });
  return {
    node: el("div", { class: "progress" }, bar, words),
    show({ done = 0, total = 0, words: text = "" }) {
      set(bar, "max", total || null);
      set(bar, "value", total ? done : null);
      say(words, total ? `${done} of ${total}${text ? `: ${text}` : ""}` : text);
    },
  };
}

/** Ask for `path` until `isOver(body)`; `tell` gets each answer. Ends early when `signal` is aborted. */
export async function poll(path, { tell, isOver, everyMs = 400, signal }) {
  for (;;) {
    const body = await get(path, {}, { signal });
    tell(body);
    if (isOver(body)) return body;
    await new Promise((resolve, reject) => {
      const timer = setTimeout(resolve, everyMs);
      signal?.addEventListener("abort", () => {
        clearTimeout(timer);
        reject(signal.reason);
      });
    });
  }
}
