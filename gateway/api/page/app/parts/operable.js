// Which gates may be operated from afar by who is signed in: those that the settings allow, for a token that may.

import { get } from "../api.js";
import { may } from "../session.js";
import { value, watch } from "../store.js";
import { whenBack } from "./again.js";

/** `has(gate)` is true once that is known; `tell()` is called when there is news. Asked for once, and after each break. */
export function operable(tell) {
  if (!may("operate")) return { has: () => false, close() {} };
  const asking = new AbortController();
  const asked = new Set();
  let found = new Set();

  async function ask(receiver) {
    asked.add(receiver);
    try {
      const { outputs } = await get(`/receivers/${encodeURIComponent(receiver)}/outputs`, {}, { signal: asking.signal });
      for (const output of outputs) if (output.allowed && output.gate) found.add(output.gate);
      tell();
    } catch {
      asked.delete(receiver); // the next news of the gates asks again; until then nothing is offered
    }
  }

  const look = () => (value("gates")?.gates ?? []).map((gate) => gate.receiver).filter((receiver, place, all) => all.indexOf(receiver) === place && !asked.has(receiver)).forEach(ask);
  const stops = [
    watch(["gates"], look),
    whenBack(() => {
      found = new Set();
      asked.clear();
      look();
    }),
  ];
  return {
    has: (gate) => found.has(gate),
    close() {
      asking.abort();
      for (const stop of stops) stop();
    },
  };
}
