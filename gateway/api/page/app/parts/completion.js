// Whose the confirmed transmitters are, and what they may work: a row to add or copy, at once in force where wanted.

import { post, Problem, search } from "../api.js";
import { el, fill } from "../dom.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { refresh } from "../store.js";
import { count, list, placeName, sentence } from "../words.js";
import { edit } from "./edit.js";
import { field, tick } from "./form.js";
import { failed, loading } from "./notice.js";
import { accessFields, kindField, noteField } from "./person-edits.js";
import { planCard } from "./plan.js";
import { choices, inWords } from "./rights.js";

/** For an enrolment that is confirmed; `path` is its own. `done()` after the row was made, `another()` for a next one. */
export function completion(enrolment, { path, done, another }) {
  const fresh = enrolment.confirmed.filter((each) => !each.holder);
  const box = el("div", { class: "stack" }, fresh.length ? loading() : el("p", {}, "Nothing is to be said: the roster has it."));
  if (fresh.length) load();
  return box;

  async function load() {
    try {
      const choice = await choices();
      fill(box, saying(fresh, choice, { path, finished }));
      box.querySelector("button").click();
    } catch (problem) {
      fill(box, failed(problem, load));
    }
  }

  function finished(answer) {
    fill(box, outcome(answer, another));
    box.firstElementChild.focus();
    politely(answer.added ? "The row is in the roster." : "The row is made.");
    refresh("roster", "agreements");
    done();
  }
}

function saying(fresh, choice, { path, finished }) {
  let access = null;
  return edit({
    open: fresh.length === 1 ? "Say whose it is" : "Say whose they are",
    action: "Make it so",
    fields() {
      access = accessFields({ choice });
      return [
        fresh.map((each, place) => field({ name: `holder-${place}`, label: fresh.length === 1 ? "Holder" : `Holder of ${each.serial}`, required: true, maxlength: 200, autocomplete: "off" })),
        access.node,
        el("div", { class: "fields" }, kindField(choice), noteField()),
        choice.editable && tick({ name: "add", label: "Put it into the roster that this gateway keeps", checked: true }),
        tick({ name: "in_force", label: "Let it work at once", checked: true }),
        !choice.editable && el("p", { class: "hint" }, "The roster is a central file. What works at once is a local override until the file has the row."),
      ];
    },
    async send(values, { preview, key }) {
      const rights = await access.read(values);
      const transmitters = fresh.map((each, place) => ({ serial: each.serial, holder: values[`holder-${place}`], kind: values.kind, note: values.note, ...asOrder(rights) }));
      if (preview) return foretell(transmitters, rights, values, choice);
      return complete(path, { transmitters, in_force: values.in_force, add: Boolean(values.add) }, key);
    },
    done: finished,
  });
}

const asOrder = ({ group, copy_of: like, rights }) => ({ ...(group && { group }), ...(like && { like }), ...(rights && { rights: rights.join(" ") }) });

/** What would be done: by the gateway's own check where it keeps the roster, else in the page's words. */
async function foretell(transmitters, rights, values, choice) {
  const words = [];
  const found = [];
  for (const { serial, holder, kind, note } of transmitters) {
    if (choice.editable && values.add) {
      const { body } = await post(`/people${search({ preview: true })}`, { serial, holder, kind, note, ...rights });
      words.push(...body.words);
      found.push(...body.warnings);
    } else words.push(`A row is made: ${serial} for ${holder}, ${rights.group ? `group ${rights.group}` : rights.copy_of ? `the rights of ${rights.copy_of}` : list(rights.rights.map((right) => inWords(right, choice)))}; the roster stays as it is`);
  }
  if (values.in_force) words.push(`${transmitters.length === 1 ? "It works" : "They work"} at once: written to the receivers now, read back and proven`);
  else words.push("Nothing is written to a receiver now");
  return { words, warnings: found };
}

async function complete(path, body) {
  try {
    return (await post(`${path}/completion`, body)).body;
  } catch (problem) {
    if (!(problem instanceof Problem)) throw problem;
    const places = problem.places.map((place) => ({ ...place, pointer: place.pointer?.replace(/^#\/transmitters\/(\d+)\/holder$/, "#/holder-$1").replace(/^#\/transmitters\/\d+\//, "#/") }));
    throw new Problem({ ...problem, detail: problem.message, places });
  }
}

function outcome(answer, another) {
  const text = answer.csv;
  const area = el("textarea", { class: "figures", readOnly: true, rows: answer.rows.length + 2, "aria-label": "Rows for the roster", value: text });
  const copied = el("span", { class: "small quiet", role: "status" });

  async function copy() {
    area.select();
    try {
      await navigator.clipboard.writeText(text);
      fill(copied, "Copied.");
    } catch {
      fill(copied, "It is selected: copy it with the keyboard.");
    }
  }

  const brought = answer.brought.map((each) => (each.plan ? planCard(each.plan).node : el("p", { class: "notice" }, `${placeName(each.receiver)}: ${sentence(each.problem)} ${each.remedy}`)));
  return [
    el("h3", { tabindex: "-1" }, answer.added ? `${count(answer.rows.length, "row")} added to the roster` : `${count(answer.rows.length, "row")} for the roster`),
    !answer.added && answer.overrides.length > 0 && el("p", {}, `${count(answer.overrides.length, "transmitter works", "transmitters work")} by a local override until the roster has the row.`),
    answer.left_out.length > 0 && el("ul", { class: "notice" }, answer.left_out.map((text) => el("li", {}, sentence(text)))),
    !answer.added && [el("p", {}, "Add this to the central file:"), area, el("div", { class: "row" }, el("button", { type: "button", on: { click: copy } }, "Copy"), copied)],
    brought,
    el("p", { class: "row" }, el("button", { type: "button", class: "main", on: { click: another } }, "Enrol another one"), answer.added && el("a", { href: to("people", { q: answer.rows[0].slice(0, 10) }) }, "Its card")),
  ];
}
