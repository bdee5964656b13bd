// A field for somebody who is known: holders are offered as one types, and the text is turned into one serial.

import { get, Problem } from "../api.js";
import { el, fill } from "../dom.js";
import { list } from "../words.js";
import { field } from "./form.js";

const TYPING_MS = 150;
let number = 0;

/** A field that offers holders; `label` and more as for `field`. */
export function whose({ name, ...more }) {
  const id = `whose-${(number += 1)}`;
  const names = el("datalist", { id });
  const node = field({ name, autocomplete: "off", list: id, maxlength: 200, ...more });
  const input = node.querySelector("input");
  let typing = 0;
  input.addEventListener("input", () => {
    clearTimeout(typing);
    typing = setTimeout(async () => {
      if (input.value.trim().length < 2) return;
      const { people } = await get("/people", { q: input.value.trim(), limit: 12 }).catch(() => ({ people: [] }));
      fill(names, people.filter((person) => person.holder).map((person) => el("option", { value: person.holder })));
    }, TYPING_MS);
  });
  node.append(names);
  return node;
}

/** The serial that a text means: ten digits, or a holder with one transmitter. `name` is the field to complain at. */
export async function serialOf(text, name) {
  const digits = /(^|\D)(\d{10})($|\D)/.exec(text);
  if (digits) return digits[2];
  const { people } = await get("/people", { q: text, limit: 50 });
  const found = people.filter((person) => person.holder.toLowerCase() === text.toLowerCase()).flatMap((person) => person.transmitters);
  if (found.length === 1) return found[0].serial;
  const detail = found.length ? `They have several transmitters; give one by its serial: ${list(found.map((card) => card.serial))}.` : "Nobody in the roster has exactly this name.";
  throw new Problem({ code: "no-such-holder", detail, remedy: "Choose a name as it is offered, or give ten digits.", places: [{ parameter: name, detail }] });
}
