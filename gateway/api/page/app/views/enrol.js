// Enrolment: a short sequence at the gate. The receiver listens, a transmitter is heard, a second press confirms it; then
// somebody says whose it is. What is certain is decided by the gateway; here it is shown as it comes.

import { get, newKey, post, remove } from "../api.js";
import { el, fill, say, set } from "../dom.js";
import { completion } from "../parts/completion.js";
import { field, form } from "../parts/form.js";
import { caution, empty, failed, loading, tag } from "../parts/notice.js";
import { overrides } from "../parts/overrides.js";
import { replaceQuery, to } from "../router.js";
import { atOnce, politely } from "../say.js";
import { refresh, state as known, value, watch, watchEvents } from "../store.js";
import { CAUTIONS, placeName, sentence } from "../words.js";

export const view = { path: "enrol", title: "Enrolment", scope: "roster", open };

const ASK_AGAIN_MS = 1500; // should the stream be late or lost
const WAYS = [
  { value: "two-presses", text: "Press it twice" },
  { value: "typed-and-pressed", text: "Type its serial and press it once" },
  { value: "several", text: "Several, one after the other" },
  { value: "typed", text: "Type its serial, nothing listens" },
];
const LISTENS = new Set(["listening", "heard"]);
const STEPS = { "typed-and-pressed": ["Listen", "Heard"], typed: ["Typed"] };
const BAD = new Set(["conflict", "failed", "ended"]);

function open(query) {
  const beginning = el("div", { class: "stack" }, loading());
  const stage = el("div", { class: "stack" });
  const waiting = overrides();
  const node = el("div", { class: "view" }, beginning, stage, waiting.node);
  let run = null;
  let drawn = false;

  function begin() {
    run?.close();
    run = null;
    fill(stage);
    fill(beginning, beginForm(query, started));
    replaceQuery({});
  }

  function started(enrolment) {
    fill(beginning);
    replaceQuery({ receiver: enrolment.receiver, id: enrolment.id });
    run = follow(enrolment, { again: begin, completed: waiting.load });
    fill(stage, run.node);
    run.focus();
  }

  async function resume() {
    try {
      started(await get(`/receivers/${encodeURIComponent(query.receiver)}/enrolments/${encodeURIComponent(query.id)}`));
    } catch {
      begin(); // only the newest ones are remembered
    }
  }

  const stop = watch(["receivers"], () => {
    if (drawn) return;
    if (!value("receivers")) return known("receivers").problem && fill(beginning, failed(known("receivers").problem, () => refresh("receivers")));
    drawn = true;
    if (query.receiver && query.id) resume();
    else begin();
  });
  return {
    node,
    close() {
      run?.close();
      waiting.close();
      stop();
    },
  };
}

// --- which receiver, and how ---

function beginForm(query, started) {
  const receivers = value("receivers").receivers.filter((each) => each.capabilities.includes("slots"));
  if (!receivers.length) return empty("No receiver here keeps transmitters, or none has answered yet.");
  const listening = (id) => receivers.find((each) => each.id === id)?.capabilities.includes("enrolment");
  const at = field({ name: "receiver", label: "At which receiver", kind: "select", value: query.receiver ?? receivers.find((each) => listening(each.id))?.id, options: receivers.map((each) => ({ value: each.id, text: placeName(each.id) + (listening(each.id) ? "" : " (can't listen)") })) });
  const way = field({ name: "way", label: "How its serial becomes certain", kind: "select", options: WAYS });
  const serial = field({ name: "serial", label: "Serial", value: query.serial ?? "", inputmode: "numeric", autocomplete: "off", maxlength: 20, hint: "The digits printed on the transmitter." });
  const selects = [at, way].map((each) => each.querySelector("select"));
  const said = caution(CAUTIONS.listening);
  const other = el("div", {});
  let key = newKey();

  function adapt() {
    if (!listening(selects[0].value)) selects[1].value = "typed";
    for (const option of selects[1].options) option.disabled = option.value !== "typed" && !listening(selects[0].value);
    serial.hidden = !selects[1].value.startsWith("typed");
    serial.querySelector("input").required = !serial.hidden;
    said.hidden = selects[1].value === "typed";
    say(node.querySelector("button.main"), selects[1].value === "typed" ? "Go on" : "Begin to listen");
  }

  const node = form({
    class: "sheet",
    fields: [el("div", { class: "fields" }, at, way, serial), said, other],
    action: "Begin to listen",
    async send(values) {
      const typed = values.way.startsWith("typed") ? values.serial.replace(/\s/g, "").padStart(10, "0") : null;
      const path = `/receivers/${encodeURIComponent(values.receiver)}/enrolments`;
      fill(other);
      try {
        const { body } = await post(path, { way: values.way, serial: typed }, { key });
        started(body);
      } catch (problem) {
        if (problem.code === "enrolment-running") await offerOther(path);
        throw problem;
      } finally {
        key = newKey();
      }
    },
  });

  // Somebody else listens there, or a page that was closed in the middle does.
  async function offerOther(path) {
    const { enrolments } = await get(path, { limit: 5 });
    const running = enrolments.find((each) => LISTENS.has(each.state));
    if (running) fill(other, el("button", { type: "button", on: { click: () => started(running) } }, "Go on with that one, or end it"));
  }

  for (const select of selects) select.addEventListener("input", adapt);
  adapt();
  return node;
}

// --- listening ---

function follow(first, { again, completed }) {
  const path = `/receivers/${encodeURIComponent(first.receiver)}/enrolments/${encodeURIComponent(first.id)}`;
  const names = STEPS[first.way] ?? ["Listen", "Heard", "Confirmed"];
  const steps = el("ol", { class: "steps" }, names.map((name) => el("li", {}, el("span", {}, name))));
  const title = el("h2", { tabindex: "-1" }, first.way === "typed" ? "Typed" : `${placeName(first.receiver)} listens`);
  const words = el("p", { class: "heard", role: "status" });
  const left = el("p", { class: "countdown small quiet" });
  const danger = el("div", {});
  const certain = el("ul", { class: "lines" });
  const ways = el("div", { class: "row" });
  const trouble = el("div", {});
  const after = el("div", { class: "stack" });
  const node = el("section", { class: "sheet", "aria-label": "Enrolment" }, title, danger, steps, words, certain, left, trouble, after, ways);
  const asking = new AbortController();
  let now = first;
  let shown = "";
  let busy = false;
  let asked = "";

  async function load() {
    if (busy) return;
    busy = true;
    try {
      now = await get(path, {}, { signal: asking.signal });
      fill(trouble);
      draw();
    } catch (problem) {
      if (problem.name !== "AbortError") fill(trouble, failed(problem, load));
    } finally {
      busy = false;
    }
  }

  function draw() {
    count();
    const is = JSON.stringify([now.state, now.words, now.confirmed, now.heard]);
    if (is === shown) return;
    shown = is;
    const listens = LISTENS.has(now.state);
    say(title, listens ? `${placeName(now.receiver)} listens` : BAD.has(now.state) || now.state === "cancelled" ? "Nothing was taken" : now.state === "completed" ? "Done" : "Confirmed");
    say(words, now.words);
    fill(danger, now.caution && caution(now.caution));
    drawSteps(steps, now);
    fill(certain, now.confirmed.map((each) => certainRow(each)));
    fill(trouble, now.problem && failed({ detail: now.problem, remedy: now.remedy }));
    drawWays(listens);
    if (now.state === "conflict") atOnce(now.words);
    drawSaying();
    if (BAD.has(now.state)) title.focus();
  }

  // Made once for what is confirmed: what is being filled in stays. Of several, a next window may still open.
  function drawSaying() {
    const serials = now.state === "confirmed" ? now.confirmed.map((each) => each.serial).join(" ") : "";
    if (serials && serials !== asked) fill(after, completion(now, { path, done: completed, another: again }));
    else if (LISTENS.has(now.state)) fill(after);
    asked = serials;
  }

  function drawWays(listens) {
    const had = ways.contains(document.activeElement);
    if (listens && now.way === "several") fill(ways, el("button", { type: "button", class: "main", on: { click: () => ask(() => post(`${path}/end`)) } }, "That is all of them"), cancelButton());
    else if (listens) fill(ways, cancelButton());
    else if (now.state === "completed") fill(ways);
    else if (now.state === "confirmed") fill(ways, el("button", { type: "button", on: { click: again } }, "Leave it, and begin anew"));
    else fill(ways, el("button", { type: "button", class: "main", on: { click: again } }, "Begin anew"));
    if (had) ways.querySelector("button")?.focus();
  }

  const cancelButton = () => el("button", { type: "button", on: { click: () => ask(() => remove(path)) } }, "Stop listening, take nothing");

  async function ask(doing) {
    try {
      await doing();
    } catch (problem) {
      fill(trouble, failed(problem));
    }
    await load();
  }

  // The seconds are for the eye alone: a reader that is told each of them is told nothing else.
  function count() {
    const listens = LISTENS.has(now.state) && now.ends;
    const seconds = listens ? Math.max(0, Math.round((Date.parse(now.ends) - Date.now()) / 1000)) : 0;
    say(left, listens ? `Listens for ${seconds} s more at most; the receiver ends it by itself.` : "");
  }

  const timers = [setInterval(count, 1000), setInterval(() => LISTENS.has(now.state) && load(), ASK_AGAIN_MS)];
  const stop = watchEvents((event) => event.type.endsWith(".enrolment.changed") && event.data.enrolment === first.id && load());
  draw();
  politely(now.words);
  return {
    node,
    focus: () => title.focus(),
    close() {
      timers.forEach(clearInterval);
      asking.abort();
      stop();
      if (LISTENS.has(now.state)) remove(path).catch(() => {}); // whoever leaves does not go on listening
    },
  };
}

function drawSteps(steps, { way, state, heard, confirmed }) {
  const last = steps.children.length - 1;
  const at = state === "confirmed" || state === "completed" ? last + 1 : state === "heard" || (way !== "several" && heard.length) ? Math.min(1, last) + (state === "heard" ? 1 : 0) : 0;
  for (const [place, item] of [...steps.children].entries()) {
    const is = BAD.has(state) || state === "cancelled" ? null : place < at ? "done" : place === at ? "now" : null;
    set(item, "data-state", is);
    set(item, "aria-current", is === "now" ? "step" : null);
  }
  steps.hidden = state === "completed" || (way === "several" && confirmed.length > 0 && !LISTENS.has(state));
}

const certainRow = (each) =>
  el(
    "li",
    { class: "stack" },
    el("p", { class: "row apart" }, el("span", { class: "figures" }, each.serial), tag(each.holder ? "Known already" : "Certain", { shape: each.holder ? "≠" : "=" })),
    each.holder && el("p", {}, el("a", { href: to("people", { id: each.serial }) }, each.holder), " has it by the roster already; no second row is made for it."),
    !each.holder && el("p", { class: "small quiet" }, sentence(each.presses ? `pressed ${each.presses === 1 ? "once" : `${each.presses} times`}` : "typed")),
  );
