// Transmitters that work here though the roster does not have them yet, with the rows that it lacks.

import { get, remove } from "../api.js";
import { el, fill } from "../dom.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { watchEvents } from "../store.js";
import { timeOf } from "../times.js";
import { confirm } from "./confirm.js";
import { failed } from "./notice.js";

/** {node, load, close}; the section is not there while there is none. */
export function overrides() {
  const body = el("div", { class: "stack" });
  const node = el("section", { class: "section", "aria-label": "At work before the roster has them", hidden: true }, el("h2", {}, "At work before the roster has them"), el("p", { class: "quiet" }, "Add these rows to the central file. Until then they are local overrides: no run of the roster takes them out."), body);
  const asking = new AbortController();

  async function load() {
    try {
      const found = await get("/overrides", { limit: 100 }, { signal: asking.signal });
      node.hidden = !found.overrides.length;
      fill(body, el("ul", { class: "sheet lines" }, found.overrides.map(row)));
    } catch (problem) {
      if (problem.name === "AbortError") return;
      node.hidden = false;
      fill(body, failed(problem, load));
    }
  }

  function row({ serial, holder, row: text, time }) {
    return el(
      "li",
      { class: "stack" },
      el("h3", {}, el("a", { href: to("people", { id: serial }) }, holder), " ", el("span", { class: "figures quiet" }, serial)),
      el("code", {}, text),
      el("p", { class: "small quiet" }, "Since ", timeOf(time), "."),
      confirm({
        open: "Withdraw",
        action: "Withdraw it",
        about: "The next run of the roster takes it out of the receivers. To stop one at once, revoke it.",
        send: () => remove(`/overrides/${serial}`),
        done() {
          politely("Withdrawn.");
          load();
        },
      }),
    );
  }

  const stop = watchEvents((event) => event.type.endsWith(".roster.fetched") && load());
  load();
  return {
    node,
    load,
    close() {
      asking.abort();
      stop();
    },
  };
}
