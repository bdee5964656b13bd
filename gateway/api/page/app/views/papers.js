// Papers to hand over: the whole site, and who has access to one gate; to print, or as a table.

import { address } from "../api.js";
import { el, fill } from "../dom.js";
import { tick } from "../parts/form.js";
import { empty, failed, loading } from "../parts/notice.js";
import { refresh, state, watch } from "../store.js";

export const view = { path: "papers", title: "Papers", scope: "roster", open };

function open() {
  const named = tick({ name: "named", label: "With the names of holders", checked: true });
  const box = named.querySelector("input");
  const site = el("div", { class: "row" });
  const gates = el("div", { class: "stack" }, loading());
  const node = el(
    "div",
    { class: "view" },
    el("p", { class: "lead" }, "A paper says what stands at the moment when it is opened. What can't be known then is said to be unknown."),
    el("div", { class: "sheet" }, named, el("p", { class: "small quiet" }, "Papers hold personal data: who opens one stands in the audit. Without names the serials stay.")),
    section("Handover document", el("div", { class: "sheet" }, el("p", {}, "The whole site: cautions, gates, receivers with outputs, modes and on-times, inputs, groups, who has what, what is revoked, room for two signatures. The link password is in none."), site)),
    section("Who has access to a gate", gates),
  );

  function draw() {
    const query = box.checked ? {} : { named: false };
    fill(site, links("handover", query, "the handover document"));
    const { value: found, problem } = state("gates");
    if (!found) {
      fill(gates, problem ? failed(problem, () => refresh("gates")) : loading());
      return;
    }
    fill(
      gates,
      found.gates.length
        ? el("ul", { class: "sheet lines" }, found.gates.map((gate) => el("li", { class: "row apart" }, el("h3", {}, gate.title), el("div", { class: "row" }, links("access", { ...query, gate: gate.id }, gate.title)))))
        : empty("No gate is described yet. The settings say which outputs and contacts are a gate: docs/gates.md."),
    );
  }

  box.addEventListener("input", draw);
  let shown = "";
  const stop = watch(["gates"], () => {
    const now = JSON.stringify((state("gates").value?.gates ?? []).map((gate) => [gate.id, gate.title])) + Boolean(state("gates").value) + (state("gates").problem?.code ?? "");
    if (now !== shown) draw();
    shown = now;
  });
  return { node, close: stop };
}

const section = (title, ...children) => el("section", { class: "section", "aria-label": title }, el("h2", {}, title), children);

/** The page in a tab of its own, and the table as a file. */
const links = (paper, query, what) => [
  el("a", { class: "button", href: address(`/reports/${paper}.html`, query), target: "_blank", rel: "noopener", "aria-label": `Open to print: ${what} (in a new tab)` }, "Open to print"),
  el("a", { class: "button", href: address(`/reports/${paper}.csv`, query), download: "", "aria-label": `Save as a table: ${what}` }, "Save as a table"),
];
