// What can be done with one transmitter where the gateway keeps the roster itself: each in words before → after, and
// made from what stood there when somebody began.

import { getTagged, patch, remove, search } from "../api.js";
import { el } from "../dom.js";
import { to } from "../router.js";
import { CAUTIONS, count } from "../words.js";
import { edit } from "./edit.js";
import { field, tick } from "./form.js";
import { caution } from "./notice.js";
import { positionsOf, rightsField } from "./rights.js";
import { serialOf, whose } from "./whose.js";

const FACTS = { holder: "holder", kind: "kind", group: "group", rights: "rights", sites: "sites", valid_from: "begins", valid_until: "ends", note: "note" };

/** The controls for one transmitter of a person; `choice` from rights.js, `done(answer)` after each change. */
export function personEdits(serial, { several, choice, done }) {
  const path = `/people/${encodeURIComponent(serial)}`;
  const start = async () => {
    const { body, tag } = await getTagged(path);
    return { body: body.transmitters.find((card) => card.serial === serial), tag };
  };
  const change = (values, { preview, tag }) => patch(path + search({ preview: preview || null }), values, tag).then((answer) => answer.body);
  const shared = { start, differs, done, action: "Change it" };
  return el(
    "details",
    { class: "edits", "data-serial": serial },
    el("summary", {}, "Change this"),
    el(
      "div",
      { class: "stack" },
      edit({ ...shared, open: "Give another name", send: ({ holder, everywhere }, how) => change({ holder, everywhere: several && everywhere }, how), fields: (card) => [holderField(card.holder), several && tick({ name: "everywhere", label: "On all of their transmitters", checked: true })] }),
      edit({ ...shared, open: "Hand over to somebody else", action: "Hand it over", about: "What it works stays as it is; change that, too, if the new holder has other rights.", send: ({ holder }, how) => change({ holder }, how), fields: () => whose({ name: "holder", label: "New holder", required: true }) }),
      accessEdit(shared, change, choice),
      edit({ ...shared, open: "Set when it begins or ends", send: ({ valid_from, valid_until }, how) => change({ valid_from, valid_until }, how), fields: (card) => [...dateFields(card), caution(CAUTIONS.dates)], cautions: caution(CAUTIONS.exits) }),
      edit({ ...shared, open: "Change kind or note", send: ({ kind, note }, how) => change({ kind, note }, how), fields: (card) => [kindField(choice, card.kind), noteField(card.note)] }),
      edit({
        ...shared,
        open: "Remove from the roster",
        action: "Remove it",
        send: (_, { preview, tag }) => remove(path, { preview: preview || null }, tag).then((answer) => answer.body),
        cautions: [el("p", {}, "The receivers follow with their next pending changes. If it is lost, ", el("a", { href: to("revoke", { serial }) }, "revoke it"), " instead: that goes at once and outlives every roster."), caution(CAUTIONS.exits)],
      }),
    ),
  );
}

function accessEdit(shared, change, choice) {
  let access = null;
  return edit({
    ...shared,
    open: "Move to another group, or change rights",
    fields(card) {
      access = accessFields({ choice, group: card.group, rights: card.group ? [] : card.rights, kind: card.kind });
      return access.node;
    },
    send: async (values, how) => change(await access.read(values), how),
    cautions: caution(CAUTIONS.exits),
  });
}

/** What others changed between two readings of a transmitter. */
export function differs(before, now) {
  if (!now) return ["it is gone"];
  return Object.entries(FACTS)
    .filter(([name]) => String(before[name] ?? "") !== String(now[name] ?? ""))
    .map(([name, word]) => `${word} ${before[name] || "none"} → ${now[name] || "none"}`);
}

export const holderField = (value = "") => field({ name: "holder", label: "Holder", required: true, value, maxlength: 200, autocomplete: "off" });
export const noteField = (value = "") => field({ name: "note", label: "Note", value, maxlength: 500, autocomplete: "off" });
export const kindField = ({ kinds }, value = "") =>
  field({ name: "kind", label: "Kind", kind: "select", value, hint: "Says which positions it has.", options: [{ value: "", text: "Not said" }, ...[...new Set([...Object.keys(kinds), value])].filter(Boolean).map((name) => ({ value: name, text: name }))] });

/** First and last day; a time with an offset, which only a file can have, is left as text. */
export const dateFields = ({ valid_from: from, valid_until: last } = {}) => [
  field({ name: "valid_from", label: "Begins", kind: day(from), value: from ?? "", hint: "Empty: at once." }),
  field({ name: "valid_until", label: "Ends", kind: day(last), value: last ?? "", hint: "The last day, which still counts. Empty: no end." }),
];

const day = (text) => (text && text.length !== 10 ? "text" : "date");

/** One of three ways to rights: a group's (live), a copy of another's (once), or one's own. `read(values)` is the body. */
export function accessFields({ choice, group = "", rights = [], kind = "", fill: copied = "" }) {
  const names = choice.groups.map((each) => each.name);
  const way = field({
    name: "way",
    label: "What it may work",
    kind: "select",
    value: copied ? "copy" : rights.length || !names.length ? "own" : "group",
    options: [
      names.length && { value: "group", text: "What a group has, today and later" },
      { value: "copy", text: "What somebody else has now, copied once" },
      { value: "own", text: "Its own rights" },
    ].filter(Boolean),
  });
  const own = rightsField({ label: "Its own rights", rights, choice, positions: positionsOf(choice, kind) });
  const parts = {
    group: field({ name: "group", label: "Group", kind: "select", value: group, options: choice.groups.map((each) => ({ value: each.name, text: `${each.name} (${count(each.members, "transmitter")})` })) }),
    copy: whose({ name: "copy_of", label: "Whose rights", value: copied, hint: "A holder, or the ten digits of a transmitter." }),
    own: own.node,
  };
  const select = way.querySelector("select");
  const show = () => Object.entries(parts).forEach(([name, node]) => (node.hidden = name !== select.value));
  select.addEventListener("input", show);
  show();
  return {
    node: [way, Object.values(parts)],
    async read({ way: chosen, group: name, copy_of: text }) {
      if (chosen === "group") return { group: name };
      if (chosen === "copy") return { copy_of: await serialOf(text, "copy_of") };
      return { rights: own.value() };
    },
  };
}
