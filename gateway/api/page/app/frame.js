// What stands around every view: whose site it is, whether it is live, the ways, and the door out.

import { el, fill, say, set } from "./dom.js";
import { here, onMove, to } from "./router.js";
import { atOnce, politely } from "./say.js";
import { may, who } from "./session.js";
import { connection, value, watch, watchConnection, watchEvents } from "./store.js";
import { seconds } from "./times.js";
import { DEVICE_NOTE, placeName } from "./words.js";
import { notAllowed } from "./parts/notice.js";
import { VIEWS, WAYS } from "./views/index.js";

const OPENING_MS = 6000;

const STATES = {
  connecting: () => "Connecting",
  live: () => "Live",
  paused: () => "Paused while unseen",
  lost: (since) => `Not live since ${seconds(since)}`,
};

function group({ title, views }, links, listed) {
  const id = `ways-${title.toLowerCase().replace(" ", "-")}`;
  const here = links.filter((_, number) => views.includes(listed[number]));
  return [el("p", { class: "group", id }, title), el("ul", { "aria-labelledby": id }, here.map((link) => el("li", {}, link)))];
}

/** Build the frame into `place` and open the view of the address. Returns how to take it down. */
export function frame(place, { signOut }) {
  const main = el("main", { id: "main", tabindex: "-1" });
  const bar = el("div", { class: "stale-bar", hidden: true });
  const state = el("span", { class: "link-state" }, el("span", { class: "mark", "aria-hidden": "true" }), el("span", {}));
  const listed = VIEWS.filter((view) => !view.under);
  const links = listed.map((view) => el("a", { href: to(view.path) }, view.title));
  const ways = el("nav", { class: "ways folded", "aria-label": "Views" }, el("div", { class: "stay" }, WAYS.map((way) => group(way, links, listed))));
  const menu = el("button", { type: "button", class: "menu", "aria-expanded": "false", on: { click: () => fold(!ways.classList.contains("folded")) } }, "Menu");
  const loads = new MutationObserver(look);
  let opening = 0;
  let view = null;
  let open = null;

  fill(
    place,
    el(
      "div",
      { class: "frame" },
      el(
        "header",
        { class: "top" },
        el("span", { class: "site" }, placeName(who().gateway)),
        state,
        el("span", { class: "who" }, who().name),
        el("button", { type: "button", on: { click: signOut } }, "Sign out"),
        menu,
      ),
      ways,
      main,
      el("footer", { class: "foot" }, el("p", {}, DEVICE_NOTE)),
    ),
  );

  function fold(folded) {
    ways.classList.toggle("folded", folded);
    set(menu, "aria-expanded", String(!folded));
  }

  function move() {
    const { path, query } = here();
    const wanted = VIEWS.find((each) => each.path === path) ?? VIEWS[0];
    if (view === wanted && open?.query) {
      open.query(query);
      return;
    }
    const first = view === null;
    open?.close();
    view = wanted;
    open = view.scope && !may(view.scope) ? { node: notAllowed(view.scope), close() {} } : view.open(query);
    const title = el("h1", { tabindex: "-1" }, view.heading ?? view.title);
    fill(main, title, bar, open.node);
    settle();
    for (const [number, link] of links.entries()) set(link, "aria-current", listed[number] === view ? "page" : listed[number].path === view.under ? "true" : null);
    fold(true);
    rename();
    if (!first) {
      scrollTo(0, 0);
      title.focus();
    }
  }

  // A view opens until nothing of it loads any more, or it has taken its time (styles/parts.css keeps it from jumping).
  function settle() {
    clearTimeout(opening);
    loads.disconnect();
    main.toggleAttribute("data-opening", true);
    loads.observe(main, { childList: true, subtree: true, attributeFilter: ["class"] });
    opening = setTimeout(settled, OPENING_MS);
    look();
  }

  function look() {
    if (!main.querySelector(".loading")) settled();
  }

  function settled() {
    clearTimeout(opening);
    loads.disconnect();
    main.removeAttribute("data-opening");
  }

  // The title says the worst that is known, so that a tab in the background tells it too.
  function rename() {
    const open = value("conditions")?.conditions ?? [];
    const worst = ["alarm", "trouble"].find((weight) => open.some((each) => each.weight === weight && !each.acknowledged));
    const mark = connection.state === "lost" ? "Not live: " : worst ? `${worst === "alarm" ? "▲" : "◆"} ${open.length} open: ` : "";
    const text = `${mark}${view.title}, ${placeName(who().gateway)}`;
    if (document.title !== text) document.title = text;
  }

  const stops = [
    onMove(move),
    watch(["conditions"], () => view && rename()),
    watchEvents((event) => {
      if (event.type === "local.gatepost.condition.raised") (event.data.weight === "alarm" ? atOnce : politely)(event.data.sentence ?? "Something needs somebody.");
    }),
    watchConnection(({ state: now, since, problem }) => {
      const before = state.dataset.state;
      state.dataset.state = now;
      say(state.lastChild, STATES[now](since));
      main.toggleAttribute("data-stale", now === "lost");
      bar.hidden = now !== "lost";
      if (now === "lost") {
        fill(
          bar,
          el("strong", {}, `◇ Not live since ${seconds(since)}. `),
          `What stands below is as it was then and may have changed. ${problem?.status ? problem.message : "The gateway can't be reached from here."} Trying again by itself.`,
        );
      }
      if (before && before !== now) {
        if (now === "lost") atOnce("The connection to the gateway is lost. What is shown may be old.");
        else if (now === "live" && before === "lost") {
          politely("Live again.");
          // What a view could not read meanwhile is read now, as the notice has promised.
          for (const button of main.querySelectorAll("[data-kind=failed] button")) button.click();
        }
      }
      if (view) rename();
    }),
  ];
  move();

  return () => {
    settled();
    open?.close();
    for (const stop of stops) stop();
  };
}
