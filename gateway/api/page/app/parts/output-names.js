// What the outputs of one receiver are called: in the settings file and in use, side by side, changed only from what was
// seen. No receiver keeps names, so none is asked: this works with one that is silent, or that no line reaches.

import { getTagged, patch, Problem } from "../api.js";
import { el, fill, say } from "../dom.js";
import { politely } from "../say.js";
import { may } from "../session.js";
import { refresh, watchEvents } from "../store.js";
import { whenBack } from "./again.js";
import { field, form } from "./form.js";
import { failed, loading } from "./notice.js";

const KEPT = "No receiver was changed, and rosters may still write the earlier names.";

/** The names of one receiver's outputs. Returns {node, close}. */
export function outputNames(receiver) {
  const status = el("div", {}, loading());
  const news = el("div", { role: "status" });
  const done = el("div", { class: "stack" });
  const body = el("div", { class: "stack" });
  const node = el("section", { class: "sheet", "aria-label": "Names of outputs" }, el("h2", {}, "Names of outputs"), el("p", { class: "small quiet" }, "No receiver keeps names; these are the gateway's own. The settings file gives the first one. A name given here is used everywhere at once: in sentences, on papers and in rosters. Rosters may still write earlier ones."), status, news, done, body);
  const path = `/receivers/${encodeURIComponent(receiver.id)}/output-names`;
  let now = []; // as it was read last, and the tag that a change has to name
  let tagged = "";
  let rows = [];
  let writing = false;
  let closed = false;

  const typed = () => rows.some((row) => row.typed());

  async function load() {
    try {
      const { body: found, tag } = await getTagged(path);
      if (closed) return;
      [now, tagged] = [found.outputs, tag];
      fill(status);
      fill(news);
      if (rows.length !== now.length) build();
      now.forEach((output, place) => rows[place].update(output));
    } catch (problem) {
      if (!closed) fill(status, failed(problem, load));
    }
  }

  function build() {
    rows = now.map(nameRow);
    const [named, others] = [[], []];
    now.forEach((output, place) => (output.in_settings || output.in_use ? named : others).push(rows[place].node));
    const nodes = [named, others.length > 0 && el("details", {}, el("summary", {}, "Outputs without a name"), el("div", { class: "stack" }, others))];
    fill(body, may("admin") ? form({ fields: nodes, action: "Use these names", send }) : el("div", { class: "stack" }, nodes));
  }

  async function send(values) {
    fill(done);
    const wanted = now.filter((output) => values[`names/${output.number}`] !== output.in_use);
    if (!wanted.length) throw new Problem({ code: "not-sent", detail: "Every output is called so already.", remedy: "Change a name first." });
    const before = now;
    writing = true;
    try {
      const names = Object.fromEntries(wanted.map((output) => [output.number, values[`names/${output.number}`]]));
      const { body: answer } = await patch(path, { names }, tagged);
      await load();
      for (const row of rows) row.taken();
      const told = changes(answer.before.outputs, answer.after.outputs);
      fill(done, el("div", { class: "notice" }, el("p", {}, el("strong", {}, told.length ? "✓ In use everywhere now." : "Every output is called so already.")), el("ul", { class: "bullets" }, [...told, told.length > 0 && KEPT].filter(Boolean).map((text) => el("li", {}, text)))));
      politely(told.join(" ") || "Every output is called so already.");
      refresh("receivers", "gates");
    } catch (problem) {
      if (problem.code !== "precondition-failed") throw problem;
      await load(); // what is in use now comes beside what was typed
      throw new Problem({ ...problem, detail: `Somebody called outputs otherwise since you looked. Nothing of yours was done. ${changes(before, now).join(" ")}`.trim(), remedy: "What is in use now stands beside what you want. Look at it, and send it again if that is still right." });
    } finally {
      writing = false;
    }
  }

  // Shown at once where nothing is being typed; else it is told, and a change would be refused.
  function changed() {
    if (writing) return;
    if (!typed()) {
      load();
      return;
    }
    fill(news, el("div", { class: "notice", "data-kind": "stale" }, el("strong", {}, el("span", { "aria-hidden": "true" }, "◆"), "Outputs have just been called otherwise by somebody else."), el("p", {}, "What stands here is older. A change is refused until you have seen what is in use now; what you typed stays."), el("div", { class: "row" }, el("button", { type: "button", on: { click: () => load() } }, "Show what is in use now"))));
  }

  const mine = (event) => event.type === "local.gatepost.settings.changed" && event.subject === receiver.id && event.data?.output_names;
  const stops = [watchEvents((event) => mine(event) && changed()), whenBack(() => typed() || load())];
  load();
  return {
    node,
    close() {
      closed = true;
      for (const stop of stops) stop();
    },
  };
}

/** One output: what the settings file calls it, what it is called, what it is to be called. */
function nameRow({ number, in_settings: first }) {
  const earlier = el("p", { class: "small quiet" });
  const used = el("strong", { class: "held" });
  const wanted = field({ name: `names/${number}`, label: "Wanted name", autocomplete: "off", spellcheck: "false", hint: first ? `Empty: ${first}, as in the settings file.` : "Empty: no name." });
  const input = wanted.querySelector("input");
  const title = `Output ${number}`;
  let before = null;
  return {
    node: el("div", { class: "wanted", role: "group", "aria-label": title }, el("div", {}, el("p", {}, el("strong", {}, title)), el("p", {}, el("span", { class: "small quiet" }, "In the settings file"), el("br"), first || "No name"), earlier), el("p", {}, el("span", { class: "small quiet" }, "In use"), el("br"), used), may("admin") ? wanted : null),
    typed: () => before !== null && input.value.trim() !== before,
    taken: () => (input.value = before),
    update({ in_use: name, former }) {
      say(used, name || "No name");
      say(earlier, former.length ? `Earlier: ${former.join(", ")}.` : "");
      if (before === null || input.value === before) input.value = name; // what somebody is typing stays
      before = name;
    },
  };
}

/** What is called otherwise, in sentences. */
const changes = (before, after) =>
  after.flatMap((output, place) => {
    const old = before[place]?.in_use ?? "";
    if (old === output.in_use) return [];
    return [`Output ${output.number} ${output.in_use ? `is called ${output.in_use}` : "has no name"}${old ? `, before ${old}` : ""}.`];
  });
