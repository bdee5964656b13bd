// Giving names: transmitters that receivers hold and that nobody has named. Whoever has just pressed comes first, so
// that one can stand at the gate with the people and name them one by one.

import { get, getTagged, patch, search } from "../api.js";
import { el, fill, keep, say } from "../dom.js";
import { whenBack } from "../parts/again.js";
import { edit } from "../parts/edit.js";
import { elsewhere } from "../parts/kept-elsewhere.js";
import { empty, failed, loading } from "../parts/notice.js";
import { differs, holderField } from "../parts/person-edits.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { refresh, watchEvents } from "../store.js";
import { count } from "../words.js";

export const view = { path: "names", title: "Give names", scope: "roster", under: "people", open };

const PAGE = 50;
const SETTLE_MS = 400;

function open() {
  const total = el("p", { class: "lead", role: "status" });
  const state = el("div", { class: "stack" }, loading());
  const list = el("ul", { class: "sheet lines", hidden: true });
  const more = el("button", { type: "button", hidden: true, on: { click: () => load(shown + PAGE) } }, "Show more");
  const node = el("div", { class: "view" }, el("p", {}, el("a", { href: to("people") }, "Everybody")), total, state, list, el("div", { class: "row" }, more));
  const asking = new AbortController();
  let shown = PAGE;
  let later = 0;

  async function load(wanted = shown) {
    try {
      const found = [];
      let page = { next: "" };
      do {
        page = await get("/people", { unnamed: true, sort: "heard", limit: 100, cursor: page.next }, { signal: asking.signal });
        found.push(...page.people);
      } while (page.next && found.length < wanted);
      shown = wanted;
      draw(page, found.slice(0, wanted));
    } catch (problem) {
      if (problem.name !== "AbortError") fill(state, failed(problem, () => load()));
    }
  }

  function draw(page, people) {
    say(total, page.total ? `${count(page.total, "transmitter")} without a name. Ask who it is when one is heard.` : "");
    fill(state, page.total ? (page.editable ? null : elsewhere()) : empty("Everybody in the roster has a name."));
    list.hidden = !people.length;
    more.hidden = people.length >= page.total;
    const cards = people.flatMap((person) => person.transmitters.filter((card) => card.unnamed));
    keep(list, cards, {
      key: (card) => `${card.serial} ${page.editable}`,
      make: (card) => el("li", { class: "stack" }, el("h3", {}, el("a", { class: "figures", href: to("people", { id: card.serial }) }, card.serial)), el("p", {}), el("p", { class: "small quiet" }, card.places.map((place) => place.sentence).join(" ")), page.editable && naming(card)),
      update: (item, card) => say(item.children[1], card.last_heard ? `${card.last_heard.sentence.replace(/\.$/, "")}: give a name.` : "Not heard yet."),
    });
  }

  function naming(card) {
    const path = `/people/${card.serial}`;
    return edit({
      open: `Name ${card.serial}`,
      action: "Name it",
      start: async () => {
        const { body, tag } = await getTagged(path);
        return { body: body.transmitters.find((each) => each.serial === card.serial), tag };
      },
      fields: () => holderField(""),
      send: ({ holder }, { preview, tag }) => patch(path + search({ preview: preview || null }), { holder }, tag).then((answer) => answer.body),
      differs,
      done(answer) {
        politely(answer.words.join(". "));
        refresh("roster", "agreements");
        load();
        total.setAttribute("tabindex", "-1");
        total.focus();
      },
    });
  }

  const stops = [
    whenBack(() => load()),
    watchEvents((event) => {
      if (!/\.(transmitter\.heard|roster\.fetched)$/.test(event.type)) return;
      clearTimeout(later);
      later = setTimeout(() => load(), SETTLE_MS);
    }),
  ];
  load();
  return {
    node,
    close() {
      asking.abort();
      clearTimeout(later);
      stops.forEach((stop) => stop());
    },
  };
}
