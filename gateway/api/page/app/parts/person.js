// A holder as a card of sentences: what each transmitter does where, since when, until when, when it was last used.

import { get } from "../api.js";
import { el, fill } from "../dom.js";
import { to } from "../router.js";
import { dayOfYear, timeOf } from "../times.js";
import { sentence, STANDINGS, STANDING_SHAPES } from "../words.js";
import { empty, failed, loading, tag } from "./notice.js";

/** One holder. `actions(card)` may give controls to stand under each transmitter; `alone` is the card of a view of its own. */
export function personCard(person, { actions = () => null, alone = false } = {}) {
  return el(
    "article",
    { class: "sheet person", "aria-label": nameOf(person) },
    el("h3", {}, alone ? nameOf(person) : el("a", { href: to("people", { id: person.id }) }, nameOf(person))),
    el("ul", { class: "lines" }, person.transmitters.map((card) => transmitter(card, actions))),
  );
}

/** Who it is, for people: a holder without a name is told by the serial. */
export const nameOf = (person) => person.holder || `Nobody in the roster, transmitter ${person.id}`;

function transmitter(card, actions) {
  const over = card.standing === "ended" || card.standing === "revoked";
  return el(
    "li",
    { class: "stack" },
    el("div", { class: "row apart" }, el("span", { class: `figures${over ? " gone" : ""}` }, card.serial), tag(STANDINGS[card.standing] ?? card.standing, { shape: STANDING_SHAPES[card.standing] })),
    el("p", {}, card.sentence),
    card.places.length > 0 && el("ul", { class: "bullets" }, card.places.map((place) => el("li", {}, place.sentence, place.since && el("span", { class: "small quiet" }, " Since ", timeOf(place.since), ".")))),
    el("p", { class: "small quiet" }, [until(card), kindOf(card), card.last_heard ? card.last_heard.sentence : "No press of it is kept.", card.note].filter(Boolean).join(" ")),
    el(
      "p",
      { class: "row small" },
      el("a", { href: to("revoke", { serial: card.serial }) }, card.standing === "revoked" ? "Revoked: see the proof" : "Lost? Revoke it"),
      el("a", { href: to("why", { who: card.serial }) }, "Why does it not open?"),
    ),
    story(card.serial),
    actions(card),
  );
}

function until({ valid_from: from, valid_until: last }) {
  const at = (text) => dayOfYear(text.length === 10 ? `${text}T12:00:00Z` : text);
  if (from && last) return `From ${at(from)} until ${at(last)}.`;
  return from ? `From ${at(from)} on.` : last ? `Until ${at(last)}.` : "";
}

/** Its kind, when one is said, and its group. */
const kindOf = ({ kind, group }) => sentence([kind === "any" ? "" : kind, group && `group ${group}`].filter(Boolean).join(", "));

/** What is known of one transmitter, newest first; asked for when somebody opens it. */
function story(serial) {
  const body = el("div", { class: "stack" });
  let asked = false;
  const node = el("details", { on: { toggle: () => node.open && !asked && load() } }, el("summary", {}, "Its story"), body);

  async function load() {
    asked = true;
    fill(body, loading());
    try {
      const { story: told } = await get("/roster/history", { serial });
      fill(
        body,
        told.chapters.length
          ? el("ol", { class: "log" }, [...told.chapters].reverse().map((chapter) => el("li", { class: "line wide" }, whenOf(chapter.moment), el("p", {}, sentence(chapter.words)))))
          : empty("Nothing is recorded about it."),
        told.limits.length > 0 && el("ul", { class: "small quiet" }, told.limits.map((limit) => el("li", {}, limit))),
        el("p", { class: "small" }, el("a", { href: to("timeline", { who: serial }) }, "Every press in the timeline")),
      );
    } catch (problem) {
      asked = false;
      fill(body, failed(problem, load));
    }
  }

  return node;
}

const whenOf = (told) => (told.at ? timeOf(told.at) : el("span", { class: "quiet", title: "The clock was not known to be right." }, "time not known"));
