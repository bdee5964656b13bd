// Why does it not open? One answer for each transmitter of a holder, and what to do. While it stands here the page
// listens: a press is judged as it comes.

import { get } from "../api.js";
import { el, fill, say } from "../dom.js";
import { field, form } from "../parts/form.js";
import { failed, loading } from "../parts/notice.js";
import { replaceQuery, to } from "../router.js";
import { politely } from "../say.js";
import { watchEvents } from "../store.js";
import { timeOf } from "../times.js";

export const view = { path: "why", title: "Why does it not open?", scope: "roster", open };

const AFTER_PRESS_MS = 1200; // the output and the contact have their say first

function open(query) {
  const names = el("datalist", { id: "why-names" });
  const who = field({ name: "who", label: "Holder or serial", value: query.who ?? "", required: true, autocomplete: "off", list: "why-names" });
  const answer = el("div", { class: "view" });
  const listening = el("p", { class: "quiet small", role: "status" });
  const ask = form({
    class: "sheet",
    fields: [who, names],
    action: "Ask",
    async send({ who: wanted }) {
      asked = wanted;
      replaceQuery({ who: wanted });
      try {
        await load();
      } finally {
        if (answer.querySelector(".loading")) fill(answer);
      }
    },
  });
  const node = el("div", { class: "view" }, el("p", { class: "lead" }, "Ask for somebody whose transmitter does nothing, and have them press it while you look here."), ask, listening, answer);
  const input = who.querySelector("input");
  let asked = "";
  let serials = new Set();
  let later = 0;
  let typing = 0;
  let closed = false;

  input.addEventListener("input", () => {
    clearTimeout(typing);
    typing = setTimeout(suggest, 150);
  });

  async function suggest() {
    if (input.value.trim().length < 2) return;
    const found = await get("/people", { q: input.value.trim(), limit: 12 }).catch(() => ({ people: [] }));
    fill(names, found.people.filter((person) => person.holder).map((person) => el("option", { value: person.holder })));
  }

  async function load() {
    const { transmitters } = await get("/why", { holder: asked });
    if (closed) return;
    serials = new Set(transmitters.map((each) => each.serial));
    fill(answer, transmitters.map(card));
    say(listening, "Listening: a press of it is judged as it comes.");
  }

  async function again() {
    try {
      await load();
      politely("A press was heard; the answer is new.");
    } catch (problem) {
      fill(answer, failed(problem, again));
    }
  }

  const stop = watchEvents((event) => {
    if (event.type !== "local.gatepost.transmitter.heard" || !serials.has(event.data.serial)) return;
    say(listening, "Heard just now; looking what it did.");
    clearTimeout(later);
    later = setTimeout(again, AFTER_PRESS_MS);
  });
  if (query.who) {
    fill(answer, loading());
    queueMicrotask(() => ask.requestSubmit()); // once it stands in the page
  }

  return {
    node,
    close() {
      closed = true;
      clearTimeout(later);
      clearTimeout(typing);
      stop();
    },
  };
}

function card({ holder, serial, answer, findings, last_heard: heard }) {
  const others = findings.filter((finding) => finding.sentence !== answer.sentence);
  return el(
    "article",
    { class: "sheet", "aria-label": `${holder}, ${serial}` },
    el("h2", {}, holder, " ", el("span", { class: "figures quiet" }, serial)),
    el("p", { class: "lead" }, answer.sentence),
    answer.remedy && el("p", {}, el("strong", {}, "What to do: "), answer.remedy),
    others.length > 0 && el("details", {}, el("summary", {}, "What else was found"), el("ul", { class: "bullets" }, others.map((finding) => el("li", {}, finding.sentence, finding.remedy && el("span", { class: "quiet" }, ` ${finding.remedy}`))))),
    el("p", { class: "small quiet" }, heard ? ["Last heard ", timeOf(heard), "."] : "No press of it is kept."),
    el("p", { class: "small" }, el("a", { href: to("timeline", { who: serial }) }, "Its timeline")),
  );
}
