// Where the roster waits after a restore, a clone or a reset: somebody says what is right.

import { post } from "../api.js";
import { el, fill, keep } from "../dom.js";
import { politely } from "../say.js";
import { may } from "../session.js";
import { refresh, state, value, watch } from "../store.js";
import { timeOf } from "../times.js";
import { callerName, placeName } from "../words.js";
import { confirm } from "./confirm.js";
import { loading, tag } from "./notice.js";

const WHY = {
  restore: (wait) => `The snapshot ${wait.snapshot} was chosen for it`,
  clone: (wait) => `What the snapshot ${wait.snapshot} holds was chosen for it`,
  reset: () => "It was cleared for its removal",
  "board-reset": () => "It was reset at the board",
};

/** Every receiver where the roster waits, or `only` one. `none` is shown where it waits nowhere. Returns {node, close}. */
export function waits({ only = "", none = null } = {}) {
  const list = el("div", { class: "stack" });
  const empty = el("div", { class: "stack" });
  const close = watch(["receivers"], draw);

  function draw() {
    const found = (value("receivers")?.receivers ?? []).filter((receiver) => receiver.waiting && (!only || receiver.id === only));
    keep(list, found, { key: ({ id, waiting }) => `${id} ${waiting.since} ${waiting.snapshot_approved}`, make: card });
    if (value("receivers")) fill(empty, !found.length && none);
    else fill(empty, none && !state("receivers").problem && loading());
  }

  return { node: el("div", { class: "stack" }, list, empty), close };
}

function card({ id, waiting }) {
  const why = WHY[waiting.reason]?.(waiting) ?? waiting.reason;
  const approve = (what, said) => async () => {
    await post(`/receivers/${encodeURIComponent(id)}/approvals`, { approve: what });
    politely(said);
  };
  const done = () => refresh("receivers", "agreements");
  return el(
    "article",
    { class: "sheet", "aria-label": `The roster waits at ${placeName(id)}` },
    el("div", { class: "row apart" }, el("h3", {}, placeName(id)), waiting.snapshot_approved ? tag("What it holds is approved", { shape: "=" }) : tag("The roster waits", { shape: "◆", weight: "trouble" })),
    el("p", {}, `${why}, `, timeOf(waiting.since), waiting.asked_by && `, asked for by ${callerName(waiting.asked_by)}`, ". ", waiting.snapshot_approved ? "What it holds stays until another roster is accepted." : "The roster may want something else, and only a person can say which is right. Revocations go on working meanwhile."),
    may("roster") &&
      el(
        "div",
        { class: "row" },
        confirm({ open: "The roster is right", action: "Let the roster go on", about: `At its next run the roster is brought to ${placeName(id)} again, with what it removes guarded as ever.`, send: approve("roster", "The roster goes on."), done }),
        !waiting.snapshot_approved && !waiting.reason.endsWith("reset") && confirm({ open: "What it holds is right", action: "Keep what it holds", about: `What ${placeName(id)} holds stays, with no date of the roster kept there, until another roster is accepted.`, send: approve("snapshot", "What it holds stays."), done }),
      ),
  );
}
