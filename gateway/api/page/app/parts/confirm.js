// A second step before something is done. No dialog: the button gives way, in its place, to what will happen and two
// buttons, and comes back. The keyboard's place goes along.

import { el, fill } from "../dom.js";
import { form } from "./form.js";

/**
 * `open` stands on the first button, `action` on the one that does it. `about` are the words (or elements) that say
 * what will happen; `fields` what is asked beside. `send(values, form)` does it and may throw a Problem; `done()` comes after.
 */
export function confirm({ open, action, about = [], fields = () => [], send, done = () => {}, cancel = "Leave it" }) {
  const box = el("div", { class: "stack" });
  const first = el("button", { type: "button", "aria-expanded": "false", on: { click: ask } }, open);

  function ask() {
    const heading = el("p", { tabindex: "-1" }, about);
    const asked = form({
      fields: [heading, fields()],
      action,
      extra: el("button", { type: "button", on: { click: back } }, cancel),
      async send(values, node) {
        await send(values, node);
        back();
        done();
      },
    });
    asked.addEventListener("keydown", (event) => event.key === "Escape" && back());
    fill(box, el("div", { class: "confirm" }, asked));
    (asked.querySelector("input, select, textarea") ?? heading).focus();
  }

  function back() {
    fill(box, first);
    first.focus();
  }

  fill(box, first);
  return box;
}
