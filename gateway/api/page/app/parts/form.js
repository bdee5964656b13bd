// Forms: labelled fields, one button, what went wrong beside the field that the gateway names.

import { el, fill, set } from "../dom.js";
import { sentence } from "../words.js";
import { failed } from "./notice.js";
import { patience } from "./patience.js";

let number = 0;

/**
 * A labelled field. `kind` is an input's type, `select` (with `options` of {value, text}) or `area`. `name` is the
 * field's name in the body; a fault at `#/name` is shown here.
 */
export function field({ name, label, kind = "text", value = "", hint = "", options = [], required = false, ...more }) {
  const id = `field-${(number += 1)}`;
  const said = [hint && `${id}-hint`].filter(Boolean).join(" ") || null;
  const shared = { id, name, required, "aria-describedby": said, ...more };
  let input;
  if (kind === "select") {
    input = el("select", shared, options.map((option) => el("option", { value: option.value, selected: option.value === value }, option.text)));
  } else if (kind === "area") input = el("textarea", { rows: 3, ...shared, value });
  else input = el("input", { type: kind, ...shared, value });
  const wrong = el("p", { class: "wrong", id: `${id}-wrong`, hidden: true });
  return el("div", { class: "field", "data-field": name }, el("label", { for: id }, label), input, hint && el("p", { class: "hint", id: `${id}-hint` }, hint), wrong);
}

/** A box to tick, with its words. */
export function tick({ name, label, checked = false, ...more }) {
  const id = `field-${(number += 1)}`;
  return el("div", { class: "choice", "data-field": name }, el("input", { type: "checkbox", id, name, checked, ...more }), el("label", { for: id }, label));
}

/**
 * A form. `send(values)` does the work and may throw a Problem; its places are shown at their fields, the rest above
 * the button. `extra` stands beside the button (a way out).
 */
export function form({ fields, action, send, extra = [], ...more }) {
  const trouble = el("div", { class: "stack" });
  const waiting = el("div", {});
  const button = el("button", { type: "submit", class: "main" }, action);
  const node = el(
    "form",
    {
      novalidate: true,
      ...more,
      on: {
        async submit(event) {
          event.preventDefault();
          if (button.getAttribute("aria-busy") === "true") return;
          clear();
          if (!checkRequired()) return;
          set(button, "aria-busy", "true");
          const over = patience(waiting);
          try {
            await send(values(node), node);
          } catch (problem) {
            show(problem);
          } finally {
            over();
            set(button, "aria-busy", null);
          }
        },
      },
    },
    fields,
    trouble,
    waiting,
    el("div", { class: "row" }, button, extra),
  );

  function clear() {
    fill(trouble);
    for (const input of node.elements) if (input.name) mark(input, "");
  }

  function checkRequired() {
    const missing = [...node.elements].filter((input) => input.required && !String(input.value).trim());
    for (const input of missing) mark(input, "Please fill this in.");
    missing[0]?.focus();
    return missing.length === 0;
  }

  function show(problem) {
    if (!(problem instanceof Error)) throw problem;
    let first = null;
    const rest = [];
    for (const place of problem.places ?? []) {
      const input = node.elements.namedItem((place.pointer ?? "").replace(/^#\//, "") || (place.parameter ?? ""));
      if (input instanceof HTMLElement) {
        mark(input, atField(place.detail));
        first ??= input;
      } else rest.push(place.detail);
    }
    const said = failed({ title: problem.title, detail: problem.detail, remedy: remedyOf(problem, first, rest) });
    if (rest.length) said.append(el("ul", { class: "bullets" }, rest.map((text) => el("li", {}, text))));
    fill(trouble, said);
    first?.focus();
  }

  return node;
}

/** The gateway speaks of its answer; here it stands at the fields and below. */
function remedyOf({ remedy }, first, rest) {
  if (!/listed under errors/.test(remedy)) return remedy;
  return first && !rest.length ? "Correct what is marked ▲ above." : first ? "Correct what is marked ▲ above and what is listed here." : "Correct what is listed here.";
}

/** What is wrong with a field, said at the field: which row of which file it would be is known here. */
const atField = (detail) => sentence(detail.replace(/^(roster|groups), row \d+: /, ""));

/** The values by name; boxes as true and false. */
export function values(node) {
  const found = {};
  for (const input of node.elements) {
    if (input.name) found[input.name] = input.type === "checkbox" ? input.checked : input.value.trim();
  }
  return found;
}

function mark(input, text) {
  const wrong = document.getElementById(`${input.id}-wrong`);
  if (!wrong) return;
  wrong.textContent = text;
  wrong.hidden = !text;
  set(input, "aria-invalid", text ? "true" : null);
  const others = (input.getAttribute("aria-describedby") ?? "").split(" ").filter((id) => id && id !== wrong.id);
  set(input, "aria-describedby", [...others, text && wrong.id].filter(Boolean).join(" ") || null);
}
