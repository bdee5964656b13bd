// Groups: named rights that many transmitters share. Changed here where the gateway keeps the roster itself.

import { getTagged, put, remove, search } from "../api.js";
import { el, fill } from "../dom.js";
import { edit } from "../parts/edit.js";
import { field } from "../parts/form.js";
import { elsewhere } from "../parts/kept-elsewhere.js";
import { caution, empty, failed, loading } from "../parts/notice.js";
import { pending } from "../parts/pending.js";
import { choices, inWords, rightsField, tabled, written } from "../parts/rights.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { refresh } from "../store.js";
import { CAUTIONS, count, sentence } from "../words.js";

export const view = { path: "groups", title: "Groups", scope: "roster", under: "people", open };

function open() {
  const place = el("div", { class: "view" }, loading());
  const done = el("div", { class: "stack said" });
  const waiting = pending();
  const node = el("div", { class: "view" }, el("p", {}, el("a", { href: to("people") }, "Everybody")), el("p", { class: "lead" }, "A group has rights that many share. What is changed here changes for everybody in it."), done, place, waiting.node);
  const asking = new AbortController();

  async function load() {
    try {
      const choice = await choices(asking.signal);
      const cards = choice.groups.map((group) => groupCard(group, choice, changed));
      fill(
        place,
        cards.length ? el("div", { class: "cards" }, cards) : empty("No group yet. Without groups each transmitter has rights of its own."),
        choice.editable ? el("div", { class: "sheet" }, newGroup(choice, changed)) : elsewhere(),
      );
    } catch (problem) {
      if (problem.name !== "AbortError") fill(place, failed(problem, load));
    }
  }

  function changed(answer) {
    fill(done, el("div", { class: "notice" }, el("strong", {}, "Done"), answer.words.map((words) => el("p", {}, sentence(words)))));
    politely(answer.words.map(sentence).join(" "));
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

const pathOf = (name) => `/roster/groups/${encodeURIComponent(name)}`;
const putGroup = (name, body, { preview, tag }) => put(pathOf(name) + search({ preview: preview || null }), body, tag).then((answer) => answer.body);

function groupCard(group, choice, done) {
  const rights = written(group.rights);
  return el(
    "article",
    { class: "sheet", "aria-label": group.name },
    el("div", { class: "row apart" }, el("h3", {}, group.name), el("a", { class: "small", href: to("people", { group: group.name }) }, count(group.members, "transmitter"))),
    rights.length ? el("ul", { class: "bullets" }, rights.map((right) => el("li", {}, `${inWords(right, choice)}.`))) : el("p", { class: "quiet" }, "Works nothing."),
    choice.editable && groupEdits(group, choice, done),
  );
}

function groupEdits(group, choice, done) {
  const start = () => getTagged(pathOf(group.name));
  const shared = { start, differs: (before, now) => groupDiffers(before, now, choice), done, action: "Change it" };
  let chosen = null;
  return el(
    "div",
    { class: "stack offers" },
    edit({
      ...shared,
      open: "Change its rights",
      fields(body) {
        chosen = rightsField({ label: `Rights of ${body.name}`, rights: written(body.rights), choice });
        return chosen.node;
      },
      send: (_, how) => putGroup(group.name, { rights: tabled(chosen.value()) }, how),
      cautions: caution(CAUTIONS.exits),
    }),
    edit({ ...shared, open: "Give it another name", fields: (body) => field({ name: "name", label: "Name", required: true, value: body.name, maxlength: 100 }), send: ({ name }, how) => putGroup(group.name, { name }, how) }),
    edit({ ...shared, open: "Remove it", action: "Remove it", send: (_, { preview, tag }) => remove(pathOf(group.name), { preview: preview || null }, tag).then((answer) => answer.body) }),
  );
}

function groupDiffers(before, now, choice) {
  const told = (right) => inWords(right, choice).replace("Position", "position");
  const [old, next] = [written(before.rights), written(now.rights)];
  return [...next.filter((each) => !old.includes(each)).map((each) => `now ${told(each)}`), ...old.filter((each) => !next.includes(each)).map((each) => `no more: ${told(each)}`)];
}

function newGroup(choice, done) {
  let chosen = null;
  return edit({
    open: "Make a group",
    action: "Make it",
    fields() {
      chosen = rightsField({ label: "Its rights", choice });
      return [field({ name: "name", label: "Name", required: true, maxlength: 100, hint: "Such as berth-holders." }), chosen.node];
    },
    send: ({ name }, how) => putGroup(name, { rights: tabled(chosen.value()) }, { ...how, tag: "" }),
    done,
  });
}
