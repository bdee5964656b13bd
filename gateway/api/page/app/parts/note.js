// Taking note of a condition: who, and what they did or found.

import { newKey, post } from "../api.js";
import { el } from "../dom.js";
import { politely } from "../say.js";
import { may } from "../session.js";
import { refresh } from "../store.js";
import { timeOf } from "../times.js";
import { REMEDIES, WEIGHT_SHAPES, WEIGHTS } from "../words.js";
import { confirm } from "./confirm.js";
import { field } from "./form.js";
import { tag } from "./notice.js";

/** One open condition: how much it presses, what it is, what to do, and whether somebody has taken note. */
export function conditionOf(condition) {
  return el(
    "li",
    { class: "needs", "data-weight": condition.weight },
    el("div", { class: "row" }, tag(WEIGHTS[condition.weight], { weight: condition.weight, shape: WEIGHT_SHAPES[condition.weight] }), el("span", { class: "quiet small" }, "since ", timeOf(condition.since))),
    el("p", {}, el("strong", {}, condition.sentence), condition.visit && " Raised while people work there: a test."),
    el("p", {}, REMEDIES[condition.condition] ?? ""),
    el("div", { class: "stack", "data-part": "note" }, condition.acknowledged ? taken(condition.acknowledged) : may("roster") && ask(condition)),
  );
}

/** The key changes when there is something else to show; until then what somebody is typing stays. */
export const conditionKey = (condition) => `${condition.id}/${condition.acknowledged ? "noted" : "new"}/${condition.sentence}`;

function taken({ time, name, note }) {
  return el("p", { class: "small" }, "✓ ", name ? `${name} has taken note` : "Somebody has taken note", " at ", timeOf(time), note && `: ${note}`, ".");
}

function ask(condition) {
  let key = newKey();
  return confirm({
    open: "Take note",
    action: "Take note",
    about: condition.ending === "acknowledged" ? "This ends it." : "It stays open until its cause is gone; others see that somebody looks after it.",
    fields: () => [
      field({ name: "name", label: "Your name", required: true, value: sessionStorage.getItem("name") ?? "", autocomplete: "name", maxlength: 100 }),
      field({ name: "note", label: "What you did or found", required: true, maxlength: 500 }),
    ],
    async send({ name, note }) {
      await post(`/conditions/${encodeURIComponent(condition.id)}/acknowledgement`, { name, note }, { key });
      key = newKey();
      sessionStorage.setItem("name", name);
      politely("Noted.");
      refresh("conditions", "gates");
    },
  });
}
