// Adding a transmitter to the roster that the gateway keeps itself: serial, whose it is, what it may work.

import { post, search } from "../api.js";
import { el, fill } from "../dom.js";
import { edit } from "../parts/edit.js";
import { field } from "../parts/form.js";
import { caution, failed, loading } from "../parts/notice.js";
import { pending } from "../parts/pending.js";
import { accessFields, dateFields, holderField, kindField, noteField } from "../parts/person-edits.js";
import { choices } from "../parts/rights.js";
import { elsewhere } from "../parts/kept-elsewhere.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { refresh } from "../store.js";
import { CAUTIONS, sentence } from "../words.js";

export const view = { path: "person-add", title: "Add somebody", scope: "roster", under: "people", open };

function open(query) {
  const place = el("div", { class: "stack" }, loading());
  const done = el("div", { class: "stack said" });
  const waiting = pending();
  const node = el("div", { class: "view" }, el("p", {}, el("a", { href: to("people") }, "Everybody")), place, done, waiting.node);
  const asking = new AbortController();

  async function load() {
    try {
      const choice = await choices(asking.signal);
      fill(place, choice.editable ? adding(choice, query, added) : elsewhere());
      if (choice.editable) place.querySelector("button").click();
    } catch (problem) {
      if (problem.name !== "AbortError") fill(place, failed(problem, load));
    }
  }

  function added(answer, serial) {
    fill(done, el("div", { class: "notice" }, el("strong", {}, "Added"), answer.words.map((words) => el("p", {}, sentence(words))), el("p", {}, el("a", { href: to("people", { id: serial }) }, "Its card"))));
    politely("Added.");
    refresh("roster", "agreements");
    load();
  }

  load();
  return {
    node,
    close() {
      asking.abort();
      waiting.close();
    },
  };
}

function adding(choice, query, added) {
  let access = null;
  let serial = "";
  return el(
    "div",
    { class: "sheet" },
    edit({
      open: "Add somebody",
      action: "Add it",
      fields() {
        access = accessFields({ choice, fill: query.like ?? "" });
        return [
          el("div", { class: "fields" }, serialField(query.serial), holderField(query.holder), kindField(choice)),
          access.node,
          el("div", { class: "fields" }, dateFields(), noteField()),
          caution(CAUTIONS.dates),
        ];
      },
      async send(values, { preview, key }) {
        serial = values.serial.replace(/\s/g, "").padStart(10, "0");
        const { holder, kind, valid_from, valid_until, note } = values;
        const body = { serial, holder, kind, valid_from, valid_until, note, ...(await access.read(values)) };
        return (await post(`/people${search({ preview: preview || null })}`, body, preview ? {} : { key })).body;
      },
      done: (answer) => added(answer, serial),
    }),
  );
}

const serialField = (value = "") =>
  field({ name: "serial", label: "Serial", required: true, value, inputmode: "numeric", autocomplete: "off", maxlength: 20, hint: "The digits printed on the transmitter; zeros in front may be left out." });
