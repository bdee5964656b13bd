// Operating an output from afar: one closure, in two steps, with every caution beside the control. It is sent once, and
// when no answer comes the page says that nobody knows whether it moved; it never sends again by itself.

import { get, newKey, post, Problem } from "../api.js";
import { el, fill, keep } from "../dom.js";
import { whenBack } from "../parts/again.js";
import { field, form, tick } from "../parts/form.js";
import { empty, failed, loading, tag } from "../parts/notice.js";
import { poll } from "../parts/progress.js";
import { to } from "../router.js";
import { atOnce, politely } from "../say.js";
import { may } from "../session.js";
import { connection, refresh, state, value, watch, watchConnection, watchEvents } from "../store.js";
import { timeOf } from "../times.js";
import { callerName, placeName, sentence } from "../words.js";

export const view = { path: "operate", title: "Operate an output", scope: "operate", open };

const WHO_DECIDES = "Local codes, the gate's own instructions and a licensed installer decide.";
const STATES = { warning: ["Warning runs", "→"], sending: ["Being sent", "→"], done: ["Sent and acknowledged", "="], unknown: ["Not known whether it moved", "?"], refused: ["Refused", "×"], interrupted: ["Interrupted", "×"] };
const UNSURE = new Set(["operation-unknown", "unreachable", "idempotency-key-unfinished", "internal"]);
const UNDER_WAY = new Set(["warning", "sending"]);

function open(query) {
  const place = el("div", { class: "view" }, loading());
  const asking = new AbortController();
  let parts = [];
  let begun = false;

  async function load() {
    try {
      const receivers = value("receivers").receivers.filter((each) => each.link !== "by-hand");
      const found = await Promise.all(receivers.map((each) => get(`/receivers/${encodeURIComponent(each.id)}/outputs`, {}, { signal: asking.signal }).then(({ outputs, cautions }) => ({ receiver: each.id, outputs, cautions }))));
      show(found);
    } catch (problem) {
      if (problem.name !== "AbortError") fill(place, failed(problem, load));
    }
  }

  function show(found) {
    const allowed = found.flatMap(({ receiver, outputs }) => outputs.filter((output) => output.allowed && (!query.gate || output.gate === query.gate)).map((output) => ({ receiver, ...output })));
    if (!allowed.length) {
      fill(place, empty(query.gate ? "The settings do not allow operating this gate from afar." : "The settings allow no output to be operated from afar, and that is how it should stay unless a qualified person has confirmed that the gate is protected for operation out of sight."));
      return;
    }
    parts = allowed.map((output) => control(output, found.find((each) => each.receiver === output.receiver).cautions));
    fill(place, query.gate && el("p", {}, el("a", { href: to("operate") }, "Every output that may be operated")), parts.map((part) => part.node));
  }

  const stop = watch(["receivers", "gates"], () => {
    if (begun) return;
    if (value("receivers") && value("gates")) {
      begun = true;
      load();
    } else if (state("receivers").problem) fill(place, failed(state("receivers").problem, () => refresh("receivers")));
  });
  return {
    node: place,
    close() {
      asking.abort();
      stop();
      parts.forEach((part) => part.close());
    },
  };
}

function control(output, cautions) {
  const path = `/receivers/${encodeURIComponent(output.receiver)}/outputs/${output.number}/operations`;
  const gate = () => value("gates")?.gates.find((each) => each.id === output.gate);
  const name = gate()?.title ?? `${placeName(output.receiver)}: ${output.name}`;
  const stands = el("p", { role: "status" });
  const step = el("div", { class: "stack" });
  const result = el("div", { class: "stack", tabindex: "-1" });
  const log = el("ul", { class: "lines" });
  const trouble = el("div", {});
  const asking = new AbortController();
  let underWay = false;
  const node = el(
    "section",
    { class: "sheet operate", "aria-label": name },
    el("h2", {}, name),
    stands,
    el("div", { class: "caution", role: "note" }, el("strong", {}, "Before anything else. "), el("ol", { class: "cautions" }, cautions.map((text) => el("li", {}, text))), el("p", {}, WHO_DECIDES)),
    step,
    result,
    el("h3", {}, "Last operated"),
    trouble,
    log,
  );

  // What is not live is not shown as if it were: then nothing can be begun either.
  function drawGate() {
    const live = connection.state === "live";
    fill(stands, live ? (gate() ? `${gate().sentence} What is shown may be late.` : "What is shown may be late.") : "Not live: where it stands now is not known, and nothing is operated from here.");
    const button = step.querySelector("button[data-first]");
    if (button) button.disabled = !live || !may("operate") || underWay;
  }

  function first() {
    fill(step, el("button", { type: "button", "data-first": "", "aria-expanded": "false", on: { click: second } }, `Operate ${name} …`));
    drawGate();
  }

  function second() {
    fill(result);
    const key = newKey(); // of this one closure; there is no second with it
    const warning = output.warning;
    const node = form({
      fields: [
        el("p", { tabindex: "-1" }, el("strong", {}, `The contact of output ${output.name} at ${placeName(output.receiver)} closes once, and the receiver ends it by itself. `), warning ? `Before it ${warning.name} warns for ${warning.seconds} s.` : "It may move at once."),
        field({ name: "reason", label: "Why", required: true, maxlength: 200, autocomplete: "off", hint: "Kept with who asked, and when." }),
        tick({ name: "seen", label: "I see the gate, or know that nobody is near it", required: true }),
      ],
      action: `Operate ${name} once`,
      extra: el("button", { type: "button", on: { click: back } }, "Leave it"),
      async send({ reason, seen }) {
        if (!seen) throw new Problem({ code: "not-seen", detail: "Nothing was sent.", remedy: "Say first that you see the gate, or know that nobody is near it. If you don't, leave it." });
        if (connection.state !== "live") throw new Problem({ code: "not-live", detail: "Nothing was sent: the page is not live, so where the gate stands is not known.", remedy: "Wait until it is live again, or operate it where you see it." });
        await send(reason, key);
      },
    });
    node.addEventListener("keydown", (event) => event.key === "Escape" && back());
    fill(step, el("div", { class: "confirm" }, node));
    node.querySelector("input").focus();
  }

  function back() {
    first();
    step.querySelector("button").focus();
  }

  async function send(reason, key) {
    try {
      const { body } = await post(path, { reason }, { key });
      first();
      show(body);
      if (UNDER_WAY.has(body.state)) show(await poll(`${path}/${encodeURIComponent(body.id)}`, { tell: show, isOver: (each) => !UNDER_WAY.has(each.state), signal: asking.signal }));
    } catch (problem) {
      if (problem.name === "AbortError") return;
      underWay = false;
      first();
      if (UNSURE.has(problem.code)) unsure(problem);
      else fill(result, failed(problem));
      result.focus();
    }
    load();
  }

  function show(operation) {
    underWay = UNDER_WAY.has(operation.state);
    drawGate();
    if (operation.state === "unknown") unsure({ detail: operation.sentence, remedy: operation.remedy });
    else fill(result, el("div", { class: "notice", "data-kind": operation.state === "refused" || operation.state === "interrupted" ? "failed" : null }, el("strong", {}, STATES[operation.state][0]), el("p", {}, sentence(operation.sentence)), el("p", {}, operation.remedy)));
    if (!UNDER_WAY.has(operation.state)) {
      politely(operation.sentence);
      result.focus();
    }
  }

  function unsure(problem) {
    fill(result, el("div", { class: "unknown-result" }, el("strong", {}, "? Not known whether it moved. Look."), el("p", {}, problem.detail), el("p", {}, "It is not sent again by itself. Look at the gate before anything else is done."), problem.remedy && el("p", {}, problem.remedy)));
    atOnce("It is not known whether it moved. Look.");
  }

  async function load() {
    try {
      const { operations } = await get(path, { limit: 10 }, { signal: asking.signal });
      fill(trouble, operations.length ? null : empty("Never from afar, as far as is kept."));
      keep(log, operations, {
        key: (each) => `${each.id} ${each.state}`,
        make: (each) => el("li", { class: "stack" }, el("p", { class: "row apart" }, timeOf(each.asked), tag(STATES[each.state]?.[0] ?? each.state, { shape: STATES[each.state]?.[1] })), el("p", {}, sentence(each.sentence)), each.reason && el("p", { class: "small quiet" }, `By ${callerName(each.asked_by)}: ${each.reason}`)),
      });
    } catch (problem) {
      if (problem.name !== "AbortError") fill(trouble, failed(problem, load));
    }
  }

  const stops = [whenBack(load), watch(["gates"], drawGate), watchConnection(drawGate), watchEvents((event) => event.type.endsWith(".output.operated") && event.subject === output.receiver && load())];
  first();
  load();
  return {
    node,
    close() {
      asking.abort();
      stops.forEach((stop) => stop());
    },
  };
}
