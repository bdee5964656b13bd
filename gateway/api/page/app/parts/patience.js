// While an answer is waited for: reading a receiver's memory takes as long as the wire needs, so how far it is stands here.

import { get } from "../api.js";
import { el, fill } from "../dom.js";
import { placeName } from "../words.js";
import { progress } from "./progress.js";

const FIRST_MS = 1000;

/** From a second on, shows in `place` how far memories are read. Returns what ends it. */
export function patience(place) {
  let over = false;
  let bars = new Map();
  let timer = setTimeout(look, FIRST_MS);

  async function look() {
    try {
      const { receivers } = await get("/receivers");
      if (over) return;
      const read = receivers.filter((receiver) => receiver.reading);
      bars = new Map(read.map(({ id }) => [id, bars.get(id) ?? progress(`Reading what ${placeName(id)} holds`)]));
      for (const { id, reading } of read) bars.get(id).show({ ...reading, words: `reading what ${placeName(id)} holds` });
      fill(place, read.length > 0 && el("div", { class: "stack" }, [...bars.values()].map((bar) => bar.node)));
      timer = setTimeout(look, FIRST_MS);
    } catch {
      // Whoever waits is told of what is wrong; this only says how far it is.
    }
  }

  return () => {
    over = true;
    clearTimeout(timer);
    fill(place);
  };
}
