// The settings of one receiver: what it holds and what is wanted, side by side; written only from what was seen.

import { get, getTagged, patch, Problem } from "../api.js";
import { el, fill, say } from "../dom.js";
import { politely } from "../say.js";
import { may } from "../session.js";
import { refresh, value, watchEvents } from "../store.js";
import { seconds } from "../times.js";
import { CAUTIONS, placeName } from "../words.js";
import { whenBack } from "./again.js";
import { field, form, tick } from "./form.js";
import { caution, failed, loading } from "./notice.js";

const LOCAL = { true: "Allowed", false: "Locked" };
const EVENTS = new Set(["local.gatepost.settings.changed", "local.gatepost.output.mode_changed", "local.gatepost.link.restored", "local.gatepost.receiver.replaced"]);

/** The card of one receiver. Returns {node, close}. */
export function receiverSettings(receiver) {
  const status = el("div", {}, loading("Reading it from the receiver."));
  const read = el("p", { class: "small quiet" });
  const news = el("div", { role: "status" });
  const done = el("div", { class: "stack" });
  const body = el("div", { class: "stack settings" });
  const node = el("article", { class: "stack", "aria-label": placeName(receiver.id) }, status, el("div", { class: "row" }, read, el("button", { type: "button", on: { click: () => load() } }, "Read again")), news, done, body);
  const path = `/receivers/${encodeURIComponent(receiver.id)}/settings`;
  let now = null; // what the receiver held when it was read last, and the tag that a change has to name
  let tagged = "";
  let rows = [];
  let called = ""; // what the outputs were called when the rows were made
  let writing = false;
  let closed = false;

  async function load() {
    try {
      const [settings, state] = await Promise.all([getTagged(path), get(`/receivers/${encodeURIComponent(receiver.id)}/status`)]);
      if (closed) return;
      now = settings.body;
      tagged = settings.tag;
      fill(status);
      fill(news);
      say(read, `Read from the receiver at ${seconds(new Date())}.`);
      const names = state.outputs.map((output) => output.name).join("\n");
      if (!rows.length || (names !== called && !rows.some((row) => row.typed()))) {
        build(state.outputs);
        called = names;
      }
      for (const row of rows) row.update(now, state.outputs);
    } catch (problem) {
      if (!closed) fill(status, failed(problem, load));
    }
  }

  function build(outputs) {
    const [times, protection] = [timeRows(receiver, outputs), protectionRows(now, receiver)];
    rows = [...times.rows, ...protection.rows];
    fill(body, part("On-times", times.nodes, "Write the on-times", wantedTimes, caution(CAUTIONS.onTime)), part("Protection", protection.nodes, "Write the protection", wantedProtection, protection.cautions));
  }

  function part(title, nodes, action, wanted, cautions) {
    const inside = may("admin")
      ? form({ fields: [nodes, cautions], action, send: (values, asked) => send(wanted(values), asked) })
      : el("div", { class: "stack" }, nodes);
    return el("section", { class: "sheet", "aria-label": title }, el("h2", {}, title), inside);
  }

  const wantedTimes = (values) => {
    const wanted = Object.entries(now.on_times_s).map(([output, seconds]) => [output, seconds, values[`on_times_s/${output}`]]);
    const changed = wanted.filter(([, seconds, text]) => text !== "" && Number(text) !== seconds);
    return changed.length ? { on_times_s: Object.fromEntries(changed.map(([output, , text]) => [output, Number(text)])) } : {};
  };

  function wantedProtection({ local_programming: local, password, again, off }) {
    const wanted = {};
    if (local && local !== String(now.local_programming)) wanted.local_programming = local === "true";
    if (password && off) throw fault("Either a new link password or none.", "Empty the field, or take the tick away.", "password");
    if (password !== again && !off) throw fault("The two link passwords differ.", "Type the same one twice.", "again");
    if (password) wanted.password = password;
    if (off) wanted.password = "";
    return wanted;
  }

  async function send(wanted, asked) {
    fill(done);
    if (!Object.keys(wanted).length) throw fault("Nothing is different from what the receiver holds.", "Change something first.");
    const before = now;
    writing = true;
    try {
      const { body: answer } = await patch(path, wanted, tagged);
      for (const secret of asked.querySelectorAll("[type=password]")) secret.value = "";
      if (asked.elements.off) asked.elements.off.checked = false;
      await load();
      fill(done, el("div", { class: "notice" }, el("p", {}, el("strong", {}, "✓ Written, and read back from the receiver.")), el("ul", { class: "bullets" }, changedWords(answer.before, answer.after, receiver, wanted).map((text) => el("li", {}, text)))));
      politely("Written, and read back from the receiver.");
      refresh("receivers");
    } catch (problem) {
      if (problem.code !== "precondition-failed") throw problem;
      await load(); // what stands there now comes beside what was typed
      const changes = changedWords(before, now, receiver);
      throw new Problem({ ...problem, detail: `Somebody changed these settings since you looked. Nothing was written. ${changes.join(" ")}`.trim(), remedy: "What the receiver holds now stands beside what you want. Look at it, and write again if that is still right." });
    } finally {
      writing = false;
    }
  }

  // A change by somebody else is shown at once where nothing is being typed; else it is told, and a write would be refused.
  function changed({ data }) {
    if (writing || (data?.output_names && rows.some((row) => row.typed()))) return; // a name is no setting of the receiver
    if (!rows.some((row) => row.typed())) {
      load();
      return;
    }
    fill(news, el("div", { class: "notice", "data-kind": "stale" }, el("strong", {}, el("span", { "aria-hidden": "true" }, "◆"), "The settings have just been changed by somebody else."), el("p", {}, "What stands here is older. Writing is refused until you have seen what stands there now; what you typed stays."), el("div", { class: "row" }, el("button", { type: "button", on: { click: () => load() } }, "Show what stands there now"))));
  }

  const stops = [watchEvents((event) => EVENTS.has(event.type) && event.subject === receiver.id && changed(event)), whenBack(() => rows.some((row) => row.typed()) || load())];
  load();
  return {
    node,
    close() {
      closed = true;
      for (const stop of stops) stop();
    },
  };
}

const fault = (detail, remedy, place = "") => new Problem({ code: "not-sent", detail, remedy, places: place ? [{ pointer: `#/${place}`, detail }] : [] });

// --- on-times: under each gate ---

function timeRows(receiver, outputs) {
  const gates = (value("gates")?.gates ?? []).filter((gate) => gate.receiver === receiver.id);
  const claimed = new Set(gates.flatMap((gate) => gate.outputs.map((output) => output.number)));
  const others = outputs.filter((output) => !claimed.has(output.number));
  const rows = new Map(outputs.map((output) => [output.number, timeRow(output, receiver)]));
  const nodesOf = (found) => found.map((output) => rows.get(output.number)?.node);
  const named = others.filter((output) => output.name);
  const unnamed = others.filter((output) => !output.name);
  return {
    rows: [...rows.values()],
    nodes: [
      gates.map((gate) => el("div", { class: "stack", role: "group", "aria-label": gate.title }, el("h3", {}, gate.title), nodesOf(gate.outputs))),
      named.length > 0 && el("div", { class: "stack" }, el("h3", {}, gates.length ? "Not part of a gate" : "Outputs"), nodesOf(named)),
      unnamed.length > 0 && el("details", {}, el("summary", {}, "Outputs without a name"), el("div", { class: "stack" }, nodesOf(unnamed))),
      el("p", { class: "small quiet" }, "What is a gate stands in the settings file on the gateway. A mode is set with the selector on the board."),
    ],
  };
}

function timeRow(output, receiver) {
  const { on_time_min_s: min, on_time_max_s: max } = receiver.limits ?? {};
  const limits = max ? `${min} to ${max} s` : "";
  return wantedRow({
    title: outputName(output),
    about: (_, outputs) => modeWords(outputs.find((each) => each.number === output.number)?.mode),
    held: (settings) => `${settings.on_times_s[output.number]} s`,
    inputs: [field({ name: `on_times_s/${output.number}`, label: "Wanted, in seconds", kind: "number", inputmode: "numeric", min, max, hint: limits })],
    plain: (settings) => String(settings.on_times_s[output.number]),
  });
}

const outputName = ({ number, name }) => (name ? `${placeName(name)} (output ${number})` : `Output ${number}`);
const modeWords = (mode) => ({ timed: "Timed: closes for that long.", momentary: "Momentary: closed while a button is held; the on-time waits for another mode.", latching: "Latching: each press toggles; the on-time waits for another mode." })[mode] ?? "Its mode is not known.";

// --- protection: a part of its own ---

function protectionRows(settings, receiver) {
  const local = wantedRow({
    title: "Local programming",
    about: () => "The board's own buttons may add, remove and time; one lock for all three.",
    held: (found) => LOCAL[found.local_programming],
    inputs: [field({ name: "local_programming", label: "Wanted", kind: "select", options: Object.entries(LOCAL).map(([key, text]) => ({ value: key, text })) })],
    plain: (found) => String(found.local_programming),
  });
  if (!receiver.capabilities.includes("password")) return { rows: [local], nodes: [local.node], cautions: [] };
  const off = tick({ name: "off", label: "Switch it off" });
  const password = wantedRow({
    title: "Link password",
    about: () => "Without it the receiver tells its identity and its state, and nothing else. It can be set and never read.",
    held: (found) => {
      off.hidden = !found.password_set;
      return found.password_set ? "Set" : "None";
    },
    inputs: [
      field({ name: "password", label: "New link password", kind: "password", autocomplete: "new-password", maxlength: 8, hint: "At most 8 characters. Left empty, it stays as it is." }),
      field({ name: "again", label: "The same once more", kind: "password", autocomplete: "new-password", maxlength: 8 }),
      off,
    ],
  });
  return {
    rows: [local, password],
    nodes: [local.node, password.node],
    cautions: caution("The link password crosses the wire in clear: whoever listens to the line can read it. It is in no snapshot. A receiver whose password is lost is opened by a reset at the board, which clears it."),
  };
}

/** One setting: what it is, what the receiver holds, what is wanted. `plain` is the held value as the field writes it. */
function wantedRow({ title, about, held, inputs, plain }) {
  const words = el("p", { class: "small quiet" });
  const holds = el("strong", { class: "held" });
  const row = el("div", { class: "wanted", role: "group", "aria-label": title }, el("div", {}, el("p", {}, el("strong", {}, title)), words), el("p", {}, el("span", { class: "small quiet" }, "On the receiver"), el("br"), holds), may("admin") ? el("div", { class: "stack" }, inputs) : null);
  const input = inputs[0].querySelector("input, select");
  let before = null;
  return {
    node: row,
    typed: () => (plain ? before !== null && input.value !== before : input.value !== ""),
    update(settings, outputs) {
      say(words, about(settings, outputs));
      say(holds, held(settings));
      if (!plain) return;
      if (before === null || input.value === before) input.value = plain(settings); // what somebody is typing stays
      before = plain(settings);
    },
  };
}

/** What differs between two readings, in sentences. `wanted` tells of a password that was replaced by another one. */
function changedWords(before, after, receiver, wanted = {}) {
  const names = new Map((value("gates")?.gates ?? []).filter((gate) => gate.receiver === receiver.id).flatMap((gate) => gate.outputs.map((output) => [String(output.number), outputName(output)])));
  const times = Object.keys(after.on_times_s).filter((output) => before.on_times_s[output] !== after.on_times_s[output]);
  return [
    ...times.map((output) => `${names.get(output) ?? `Output ${output}`} stays closed for ${after.on_times_s[output]} s, before ${before.on_times_s[output]} s.`),
    before.local_programming !== after.local_programming && `Local programming is ${after.local_programming ? "allowed" : "locked"} now.`,
    before.password_set !== after.password_set && `The link password is ${after.password_set ? "set" : "off"} now.`,
    before.password_set && after.password_set && wanted.password && "The link password is another one now.",
  ].filter(Boolean);
}
