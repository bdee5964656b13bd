// Two snapshots, or a snapshot and what a receiver holds now: what differs, in words.

import { get, post } from "../api.js";
import { el, fill } from "../dom.js";
import { replaceQuery } from "../router.js";
import { politely } from "../say.js";
import { state, value, watch } from "../store.js";
import { full } from "../times.js";
import { count, list, placeName } from "../words.js";
import { field } from "./form.js";
import { failed, loading } from "./notice.js";
import { lines } from "./plan.js";

const MOST = 100;

/** `left` is a snapshot's id, `right` another one's or a receiver's name. Returns {node, close}. */
export function compare(left, right) {
  const from = field({ name: "left", label: "From", kind: "select" });
  const against = field({ name: "right", label: "To", kind: "select" });
  const selects = [from, against].map((each) => each.querySelector("select"));
  const place = el("div", { class: "stack" }, loading());
  const node = el("div", { class: "stack" }, el("form", { class: "sheet filters", on: { submit: (event) => event.preventDefault() } }, from, against), place);
  const wanted = [left, right];
  let asking = 0;
  let closed = false;

  for (const [side, select] of selects.entries()) {
    select.addEventListener("input", () => {
      wanted[side] = select.value;
      replaceQuery({ compare: wanted[0], with: wanted[1] });
      load();
    });
  }

  async function offer() {
    try {
      const { snapshots } = await get("/snapshots", { limit: MOST });
      if (closed) return;
      const kept = snapshots.map((each) => ({ value: each.id, text: `${placeName(each.receiver)}, ${full(each.taken)}` }));
      const now = (value("receivers")?.receivers ?? []).filter((each) => each.capabilities.includes("slots")).map((each) => ({ value: each.id, text: `What ${placeName(each.id)} holds now` }));
      for (const [side, select] of selects.entries()) {
        const options = [...now, ...kept];
        if (!options.some((each) => each.value === wanted[side])) options.push({ value: wanted[side], text: wanted[side] });
        fill(select, options.map((each) => el("option", { value: each.value, selected: each.value === wanted[side] }, each.text)));
      }
    } catch (problem) {
      fill(place, failed(problem, begin));
    }
  }

  async function load() {
    const mine = (asking += 1);
    fill(place, loading("Comparing."));
    try {
      const { body } = await post("/comparisons", { left: wanted[0], right: wanted[1] });
      if (closed || mine !== asking) return;
      fill(place, result(body));
      politely(verdict(body));
    } catch (problem) {
      if (!closed && mine === asking) fill(place, failed(problem, load));
    }
  }

  function begin() {
    offer();
    load();
  }

  let begun = false;
  const stop = watch(["receivers"], () => {
    if (begun || !(value("receivers") || state("receivers").problem)) return;
    begun = true;
    begin();
  });
  return {
    node,
    close() {
      closed = true;
      stop();
    },
  };
}

function verdict({ alike, slots, settings }) {
  if (alike) return "Transmitters and settings are the same.";
  const parts = [
    count(slots.filter((each) => each.kind === "added").length, "transmitter more", "transmitters more"),
    `${slots.filter((each) => each.kind === "missing").length} missing`,
    `${slots.filter((each) => each.kind === "changed").length} changed`,
    settings.length > 0 && count(settings.length, "setting is otherwise", "settings are otherwise"),
  ];
  return `${list(parts.filter(Boolean))}.`;
}

function result(found) {
  const of = (kind) => found.slots.filter((each) => each.kind === kind).map((each) => each.words);
  return el(
    "div",
    { class: "sheet" },
    el("p", { class: "lead" }, el("span", { "aria-hidden": "true" }, found.alike ? "= " : "≠ "), verdict(found)),
    el("p", { class: "small quiet" }, `What ${found.right} has otherwise than ${found.left}.`),
    lines("− Missing", of("missing")),
    lines("+ More", of("added")),
    lines("Changed", of("changed")),
    lines("Settings", found.settings),
    lines("Modes, set at the board", found.modes),
    lines("Limits", found.limits),
    lines("To know", found.notes),
  );
}
