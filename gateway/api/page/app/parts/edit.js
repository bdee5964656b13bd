// A change of something that others may change too, in steps in the button's own place: fill in, read before → after
// in the gateway's words, do it. What the change starts from is read when somebody begins; when it was changed
// meanwhile, that is told in words, and what was filled in stays.

import { newKey, Problem } from "../api.js";
import { el, fill, set } from "../dom.js";
import { sentence } from "../words.js";
import { form } from "./form.js";
import { failed } from "./notice.js";

/**
 * - `open`, `action`: the words on the first button and on the one that does it.
 * - `start()` reads {body, tag} that the change is made from; left out where nothing is there yet.
 * - `fields(body)` gives what is asked; left out where there is nothing to ask.
 * - `send(values, {preview, tag, key, body})` asks the gateway and gives its answer with `words` and `warnings`.
 * - `differs(before, now)` says in words what others changed.
 * - `about` stands above the fields, `cautions` beside the last button; `done(answer)` comes after.
 */
export function edit({ open, action, start = async () => ({ body: null, tag: "" }), fields = null, send, differs = () => [], about = null, cautions = null, done = () => {} }) {
  const box = el("div", { class: "stack edit" });
  const first = el("button", { type: "button", "aria-expanded": "false", on: { click: begin } }, open);
  let from = null;
  let asked = null;
  let key = "";

  async function begin() {
    key = newKey();
    set(first, "aria-busy", "true");
    try {
      from = await start();
    } catch (problem) {
      fill(box, first, failed(problem, begin));
      first.focus();
      return;
    } finally {
      set(first, "aria-busy", null);
    }
    if (!fields) return look({});
    asked = form({ fields: [about && el("p", {}, about), fields(from.body)], action: "Look at the change", extra: wayOut(), send: look });
    show(asked);
  }

  // The words come from the gateway: it checks the change with the whole roster, as it will when it is done.
  async function look(filled) {
    let seen;
    try {
      seen = await send(filled, { preview: true, tag: from.tag, key, body: from.body });
    } catch (problem) {
      return stumble(problem, filled, () => look(filled));
    }
    if (!seen.words.length) return stumble(new Problem({ code: "nothing", detail: "Nothing would change.", remedy: "Change something first, or leave it." }), filled);
    show(
      form({
        fields: [
          el("h4", { tabindex: "-1" }, "What will change"),
          el("ul", { class: "bullets words" }, seen.words.map((words) => el("li", {}, sentence(words)))),
          warnings(seen),
          cautions,
        ],
        action,
        extra: [fields && el("button", { type: "button", on: { click: () => show(asked) } }, "Back"), wayOut()],
        send: () => go(filled),
      }),
    );
  }

  async function go(filled) {
    try {
      const answer = await send(filled, { preview: false, tag: from.tag, key, body: from.body });
      close();
      done(answer);
    } catch (problem) {
      await stumble(problem, filled, () => go(filled));
    }
  }

  // A conflict is explained and the new state becomes what the change starts from; anything else is shown as it is.
  async function stumble(problem, filled, again) {
    if (problem.code !== "precondition-failed" && problem.code !== "serial-known") {
      if (fields) throw problem;
      return fill(box, first, failed(problem, problem.code === "unreachable" ? again : undefined));
    }
    if (problem.code === "serial-known") {
      show(asked);
      throw problem;
    }
    const before = from.body;
    from = await start();
    key = newKey();
    const words = differs(before, from.body);
    const conflict = new Problem({
      code: problem.code,
      detail: `Somebody else changed this meanwhile${words.length ? `: ${words.join("; ")}` : ""}.`,
      remedy: "Nothing of yours was done. Look at what stands there now and decide again; what you filled in is still here.",
    });
    if (!fields) return fill(box, first, failed(conflict));
    show(asked);
    fill(asked.querySelector(".conflict") ?? asked.insertBefore(el("div", { class: "conflict" }), asked.firstChild), failed(conflict));
  }

  function show(node) {
    for (const old of node.querySelectorAll(".conflict")) fill(old);
    fill(box, el("div", { class: "confirm" }, node));
    (node.querySelector("h4") ?? node.querySelector("input:not([type=hidden]), select, textarea") ?? node.querySelector("button")).focus();
  }

  function close() {
    fill(box, first);
    first.focus();
  }

  const wayOut = () => el("button", { type: "button", on: { click: close } }, "Leave it");
  box.addEventListener("keydown", (event) => event.key === "Escape" && !box.contains(first) && close());
  fill(box, first);
  return box;
}

/** What the gateway warns about, said before it is done. */
export const warnings = (seen) =>
  seen.warnings?.length > 0 && el("div", { class: "notice" }, el("strong", {}, "Look at this first"), el("ul", { class: "bullets" }, seen.warnings.map((each) => el("li", {}, sentence(`${each.found}; ${each.remedy}`)))));
