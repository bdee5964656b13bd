// The four states that every view must have beside its content: loading, empty, failed, and not allowed.

import { el } from "../dom.js";
import { SCOPE_NEEDED } from "../words.js";

export const loading = (text = "Loading.") => el("p", { class: "loading" }, text);

/** Nothing there, and what that means. */
export const empty = (text) => el("p", { class: "empty" }, text);

/** What went wrong and what to do. `again` is called by the button, when there is something to try again. */
export function failed(problem, again) {
  return el(
    "div",
    { class: "notice", "data-kind": "failed", role: "alert" },
    el("strong", {}, el("span", { "aria-hidden": "true" }, "▲"), problem.detail || problem.title || "That did not work."),
    problem.remedy && el("p", {}, problem.remedy),
    again && el("div", { class: "row" }, el("button", { type: "button", on: { click: again } }, "Try again")),
  );
}

/** This needs a token that may do more. */
export const notAllowed = (scope) => el("div", { class: "notice", "data-kind": "not-allowed" }, el("p", {}, SCOPE_NEEDED[scope]));

/** A mark with word and shape, for a condition's weight or a state. */
export const tag = (text, { weight, shape = "" } = {}) =>
  el("span", { class: "tag", "data-weight": weight }, shape && el("span", { "aria-hidden": "true" }, shape), text);

/** A caution, to stand beside a control. */
export const caution = (text) => el("p", { class: "caution", role: "note" }, el("strong", {}, "Caution. "), text);
