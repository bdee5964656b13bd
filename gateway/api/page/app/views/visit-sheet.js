// The visit sheet of a receiver without a wire: what is to be done at the board, in the order of the work, ticked line
// by line at the cabinet. Nothing of it is ever proven, and it says so.

import { get, put, remove } from "../api.js";
import { el, fill, keep, say, set } from "../dom.js";
import { field } from "../parts/form.js";
import { holdings } from "../parts/holdings.js";
import { empty, failed, loading, tag } from "../parts/notice.js";
import { replaceQuery, to } from "../router.js";
import { politely } from "../say.js";
import { who } from "../session.js";
import { refresh, state, value, watch, watchConnection, watchEvents } from "../store.js";
import { full, moment } from "../times.js";
import { callerName, count, placeName } from "../words.js";

export const view = { path: "visit-sheet", title: "Visit sheet", scope: "roster", open };

const POLL_MS = 20_000; // somebody else may tick, too

function open(query) {
  const place = el("div", { class: "view" }, loading());
  let sheet = null;
  let shown = null;

  function draw() {
    const receivers = value("receivers")?.receivers.filter((each) => each.link === "by-hand");
    if (!receivers) return state("receivers").problem && fill(place, failed(state("receivers").problem, () => refresh("receivers")));
    const ids = receivers.map((each) => each.id).join(" ");
    if (ids === shown) return;
    shown = ids;
    if (!receivers.length) return fill(place, empty("Every receiver here has a wire, so nothing is done by hand. A receiver of the kind manual in the settings would have its sheet here."));
    const select = field({ name: "receiver", label: "Receiver", kind: "select", value: query.receiver ?? "", options: receivers.map((each) => ({ value: each.id, text: placeName(each.id) })) });
    const input = select.querySelector("select");
    const below = el("div", { class: "view" });
    const show = () => {
      sheet?.close();
      sheet = openSheet(input.value);
      fill(below, sheet.node);
    };
    input.addEventListener("input", () => {
      replaceQuery({ receiver: input.value });
      show();
    });
    fill(place, receivers.length > 1 && el("div", { class: "no-paper" }, select), below);
    show();
  }

  const stop = watch(["receivers"], draw);
  return {
    node: place,
    close() {
      sheet?.close();
      stop();
    },
  };
}

function openSheet(receiver) {
  const path = `/receivers/${encodeURIComponent(receiver)}/visit-sheet`;
  const lead = el("p", { class: "lead", role: "status" });
  const about = el("div", { class: "stack" });
  const trouble = el("div", { class: "stack" });
  const name = field({ name: "done_by", label: "Who ticks", value: sessionStorage.getItem("name") ?? "", autocomplete: "name", maxlength: 100, hint: `Kept with each tick. Empty: ${who().name}.` });
  const list = el("ol", { class: "sheet lines", "aria-label": "What to do, in order", hidden: true });
  const asOf = el("p", { class: "small quiet" });
  const stock = el("details", { class: "no-paper" }, el("summary", {}, "Say anew what it holds"), el("div", {}));
  const controls = el("div", { class: "row no-paper", hidden: true }, el("button", { type: "button", on: { click: () => print() } }, "Print"));
  const node = el("section", { class: "view", "aria-label": placeName(receiver) }, el("h2", {}, placeName(receiver)), lead, about, trouble, el("div", { class: "no-paper" }, name), list, asOf, controls, stock);
  const asking = new AbortController();
  const busy = new Set();
  const wrong = new Map(); // by number: a tick that did not get through
  let known = false;
  let sheet = null;

  async function load() {
    try {
      sheet = await get(path, {}, { signal: asking.signal });
      fill(trouble);
      draw();
    } catch (problem) {
      if (problem.name !== "AbortError") fill(trouble, failed(problem, load));
    }
  }

  function draw() {
    const { counts, lines } = sheet;
    say(lead, leadOf(sheet));
    drawAbout(about, sheet);
    say(asOf, `Site ${placeName(sheet.site)}, ${placeName(receiver)}. As of ${full(sheet.printed)}.`);
    list.hidden = !lines.length;
    name.hidden = !lines.length;
    controls.hidden = !lines.length;
    stock.hidden = !counts.holdings_known;
    if (counts.holdings_known !== known || !stock.lastElementChild.childElementCount) {
      known = counts.holdings_known;
      fill(stock.lastElementChild, known && holdings(receiver, load));
    }
    keep(list, lines, { key: (line) => line.number, make: task, update: drawTask });
  }

  function task(line) {
    const box = el("button", { type: "button", role: "checkbox", on: { click: () => toggle(line.number) } });
    return el("li", { class: "task" }, box, el("div", { class: "stack" }, el("p", { class: "what" }), el("p", { class: "small quiet" }), el("p", { class: "small quiet no-paper" }), el("p", { class: "small by-whom" }, "Done by, and when: ____________________"), el("div", { class: "stack" })));
  }

  function drawTask(node, line) {
    const [box, { children: [what, how, hint, , failure] }] = node.children;
    node.dataset.state = line.state;
    set(node, "data-owed", line.revoked && line.state === "open");
    set(box, "aria-checked", String(Boolean(line.tick)));
    set(box, "aria-busy", busy.has(line.number) ? "true" : null);
    set(box, "aria-label", `Line ${line.number}: ${line.words}`);
    say(box, line.tick ? "✓" : "");
    if (what.dataset.words !== `${line.words}${line.state}${line.revoked}`) {
      what.dataset.words = `${line.words}${line.state}${line.revoked}`;
      fill(what, el("span", { class: "figures quiet" }, `${line.number} `), line.revoked && line.state === "open" && [tag("Revoked", { weight: "trouble", shape: "◆" }), " "], line.words);
    }
    say(how, howOf(line));
    say(hint, line.tick ? "Tap again to take the tick back." : "");
    const problem = wrong.get(line.number);
    if (!problem) fill(failure);
    else if (!failure.childElementCount) fill(failure, failed(problem, () => toggle(line.number, true)));
  }

  // Safe to send again, so a phone with a poor network may try until it is through.
  async function toggle(number) {
    if (busy.has(number)) return;
    const line = sheet.lines.find((each) => each.number === number);
    const ticking = !line.tick;
    const by = name.querySelector("input").value.trim();
    sessionStorage.setItem("name", by);
    busy.add(number);
    wrong.delete(number);
    draw();
    try {
      if (ticking) await put(`${path}/lines/${number}/tick`, { done_by: by });
      else await remove(`${path}/lines/${number}/tick`);
      politely(ticking ? `Line ${number} is ticked.` : `Line ${number} is open again.`);
      refresh("receivers", "agreements");
    } catch (problem) {
      wrong.set(number, problem);
    }
    busy.delete(number);
    await load();
    if (wrong.has(number)) draw();
  }

  const stale = el("p", { class: "notice", "data-kind": "stale" }, "Not live: what others tick is not seen here just now. What you tick is sent when the gateway is reached again, once you try again.");
  const stops = [
    watchEvents((event) => event.subject === receiver && load()),
    watchConnection(({ state: now }) => {
      stale.remove();
      if (now === "lost") lead.after(stale);
      else if (sheet) load();
    }),
  ];
  const poll = setInterval(load, POLL_MS);
  fill(trouble, loading());
  load();
  return {
    node,
    close() {
      asking.abort();
      clearInterval(poll);
      stops.forEach((stop) => stop());
    },
  };
}

function leadOf({ counts, problem, lines }) {
  if (!counts.holdings_known) return "Nobody has said yet what this receiver holds, so nothing can be prepared.";
  if (counts.owed) return `${count(counts.owed, "revoked transmitter works", "revoked transmitters work")} here until somebody has been there.`;
  if (counts.open) return `${count(counts.open, "line")} to do.`;
  if (problem) return "";
  return lines.length ? "All is done by hand, not proven." : "Nothing to do.";
}

function drawAbout(about, sheet) {
  const words = JSON.stringify([sheet.counts, sheet.problem, sheet.remedy, sheet.held, sheet.left_out]);
  if (about.dataset.words === words) return;
  about.dataset.words = words;
  fill(
    about,
    sheet.counts.holdings_known && el("p", { class: "quiet" }, "A tick says that somebody did it by hand. Nobody can read this receiver, so nothing here is proven."),
    sheet.counts.holdings_known && sheet.problem && el("p", { class: "notice" }, el("strong", {}, sheet.problem), sheet.remedy),
    sheet.held && el("p", { class: "notice" }, "More is to be taken out, and waits for approval before it stands here: ", el("a", { href: to("roster", { plan: sheet.held }) }, "look at it"), "."),
    sheet.left_out.length > 0 && el("ul", { class: "notice" }, sheet.left_out.map((text) => el("li", {}, text))),
    !sheet.counts.holdings_known && holdings(sheet.receiver, () => refresh("receivers")),
  );
}

function howOf({ state: now, tick }) {
  const withdrawn = now === "withdrawn" ? "No longer wanted. Tick it all the same if it was done. " : "";
  if (!tick) return withdrawn;
  return `${withdrawn}Done by hand by ${tick.done_by || callerName(tick.asked_by)}, ${moment(tick.time)}${tick.clock_trusted ? "" : " (the clock was not known to be right)"}; not proven.`;
}
