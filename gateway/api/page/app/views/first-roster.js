// The first day at a site already in use: a roster of what the receivers hold. Nothing is changed on any of them.

import { post, Problem } from "../api.js";
import { el, fill } from "../dom.js";
import { form, tick } from "../parts/form.js";
import { empty, failed, loading } from "../parts/notice.js";
import { choices } from "../parts/rights.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { refresh, state, value, watch } from "../store.js";
import { count, placeName, sentence } from "../words.js";

export const view = { path: "first-roster", title: "Begin from the receivers", scope: "roster", under: "people", open };

function open() {
  const place = el("div", { class: "stack" }, loading());
  const result = el("div", { class: "stack", tabindex: "-1" });
  const node = el("div", { class: "view" }, el("p", {}, el("a", { href: to("people") }, "Everybody")), el("p", { class: "lead" }, "A site already in use: each receiver is read anew, and what they hold becomes a first roster. Nothing is changed on any of them, and bringing that roster to them changes nothing either."), place, result);
  const asking = new AbortController();
  let urls = [];

  async function load() {
    try {
      const { editable } = await choices(asking.signal);
      const rows = (value("receivers")?.receivers ?? []).filter((each) => each.capabilities.includes("slots") && each.link !== "by-hand");
      fill(place, rows.length ? reading(rows, editable) : empty("No receiver here keeps transmitters, or none has answered yet."));
    } catch (problem) {
      if (problem.name !== "AbortError") fill(place, failed(problem, load));
    }
  }

  function reading(rows, editable) {
    return form({
      class: "sheet",
      fields: el("fieldset", {}, el("legend", {}, "Which receivers"), rows.map((row) => tick({ name: row.id, label: placeName(row.id), checked: true })), el("p", { class: "hint" }, "People of a receiver that is left out would be removed where this roster comes to; the guard of removals holds that.")),
      action: "Read them",
      async send(ticked) {
        const receivers = rows.map((row) => row.id).filter((id) => ticked[id]);
        if (!receivers.length) throw new Problem({ code: "nothing-asked", detail: "No receiver is ticked.", remedy: "Tick those that are to be read." });
        fill(result, loading("Reading every slot. This takes a moment."));
        try {
          const { body } = await post("/roster/first-rosters", { receivers });
          show(body, receivers, editable);
        } catch (problem) {
          fill(result);
          throw problem;
        }
      },
    });
  }

  function show(first, receivers, editable) {
    drop();
    fill(
      result,
      el(
        "section",
        { class: "sheet", "aria-label": "What was read" },
        el("h2", {}, `${count(first.transmitters, "transmitter")} of ${count(first.holders, "holder")}`),
        el("p", {}, first.unnamed ? `${count(first.unnamed, "transmitter has", "transmitters have")} no name in any receiver; each gets a place for one.` : "Everybody has a name."),
        first.group_names.length > 0 && el("p", {}, `Rights that several share became groups: ${first.group_names.join(", ")}. Give them other names later.`),
        first.notes.length > 0 && el("div", {}, el("h3", {}, "What a roster can't say"), el("ul", { class: "bullets" }, first.notes.map((note) => el("li", {}, sentence(note))))),
        el("p", { class: "row" }, download("roster.csv", first.roster), first.groups && download("groups.toml", first.groups)),
        editable ? keeping(receivers) : el("p", { class: "quiet" }, "This site has a central file: put the two files where it stands."),
      ),
    );
    result.focus();
    politely("The receivers were read.");
  }

  function keeping(receivers) {
    return form({
      fields: el("p", {}, "Or keep it here: the gateway then has it as its own roster, and people are changed on this page. A roster that it has already is never replaced."),
      action: "Keep it as the roster",
      async send() {
        const { body } = await post("/roster/first-rosters", { receivers, keep: true });
        refresh("roster", "agreements");
        politely("It is kept.");
        fill(
          result,
          el("div", { class: "notice" }, el("strong", {}, "It is kept"), el("p", {}, body.edit?.in_force ? "It is in force. The receivers hold it already, so nothing is pending." : sentence(body.edit?.problem ?? "")), el("p", { class: "row" }, el("a", { href: to("names") }, "Give names"), el("a", { href: to("groups") }, "Give groups other names"), el("a", { href: to("people") }, "Everybody"))),
        );
        result.focus();
      },
    });
  }

  function download(name, text) {
    const url = URL.createObjectURL(new Blob([text], { type: "text/plain;charset=utf-8" }));
    urls.push(url);
    return el("a", { class: "button", href: url, download: name }, `Save ${name}`);
  }

  function drop() {
    urls.forEach((url) => URL.revokeObjectURL(url));
    urls = [];
  }

  let begun = false;
  const stop = watch(["receivers"], () => {
    if (begun || !(value("receivers") || state("receivers").problem)) return;
    begun = true;
    load();
  });
  return {
    node,
    close() {
      asking.abort();
      drop();
      stop();
    },
  };
}
