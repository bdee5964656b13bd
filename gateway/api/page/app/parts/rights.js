// What a transmitter works, as lines to choose: "position 1 works Slip gate: gate". For a row of the roster and for a
// group; what may be chosen comes from the receivers of this gateway.

import { get } from "../api.js";
import { el, fill, keep } from "../dom.js";
import { placeName } from "../words.js";

/** Groups and kinds of the roster in force, every gate and every output of every receiver, and whether people are edited here. */
export async function choices(signal) {
  const [{ receivers }, { gates }, roster] = await Promise.all([get("/receivers", {}, { signal }), get("/gates", {}, { signal }), groupsOf(signal)]);
  const keeping = receivers.filter((receiver) => receiver.capabilities.includes("slots") || receiver.link === "by-hand");
  const outputs = await Promise.all(keeping.map((receiver) => outputsOf(receiver, signal)));
  const positions = Math.max(1, ...keeping.map((receiver) => receiver.limits?.positions ?? 1));
  return { ...roster, gates, outputs: outputs.flat(), positions: [...Array(positions).keys()].map((place) => String(place + 1)) };
}

async function groupsOf(signal) {
  const groups = [];
  let page = { next: "" };
  do {
    page = await get("/roster/groups", { cursor: page.next }, { signal });
    groups.push(...page.groups);
  } while (page.next);
  return { groups, kinds: page.kinds, editable: page.editable };
}

async function outputsOf(receiver, signal) {
  const { outputs } = await get(`/receivers/${encodeURIComponent(receiver.id)}/outputs`, {}, { signal });
  const names = new Map(outputs.map((output) => [output.number, output.name]));
  const count = Math.max(receiver.limits?.outputs ?? 0, ...names.keys(), 0);
  return [...Array(count).keys()].map((place) => {
    const name = names.get(place + 1) || String(place + 1);
    return { value: `${receiver.id}/${name}`, text: outputText(receiver.id, name) };
  });
}

const outputText = (receiver, name) => `${placeName(receiver)}: ${/^\d+$/.test(name) ? `output ${name}` : name}`;

/** The positions that a kind has, or all of them. */
export const positionsOf = ({ kinds, positions }, kind) => kinds[kind] ?? [...new Set([...positions, ...Object.values(kinds).flat()])];

/** A group's rights as a roster's row writes them. */
export const written = (rights) => Object.entries(rights).flatMap(([receiver, table]) => Object.entries(table).flatMap(([position, outputs]) => outputs.map((output) => `${position}:${receiver}/${output}`)));

/** And back: outputs by position by receiver. */
export function tabled(rights) {
  const found = {};
  for (const { position, receiver, output } of rights.map(read)) ((found[receiver] ??= {})[position] ??= []).push(output);
  return found;
}

/** `1:slip-gate/gate` as its parts. */
export function read(right) {
  const [, position, receiver, output] = /^([^:]+):([^/]+)\/(.+)$/.exec(right);
  return { position, receiver, output };
}

/** The gate that an output works, as people say it; one that is no gate's by its name and receiver. */
export function outputAt(gates, receiver, name) {
  const gate = gates.find((each) => each.receiver === receiver && each.outputs.some((output) => output.name === name || String(output.number) === name));
  return gate?.title ?? `${/^\d+$/.test(name) ? `output ${name}` : name} at ${placeName(receiver)}`;
}

/** `Position 1 works Slip gate` */
export const inWords = (right, { gates }) => {
  const { position, receiver, output } = read(right);
  return `Position ${position} works ${outputAt(gates, receiver, output)}`;
};

/** Lines to choose from. `rights` are those at first; `value()` gives those chosen, each once. */
export function rightsField({ label, rights = [], choice, positions = positionsOf(choice, "") }) {
  const known = new Set(choice.outputs.map((output) => output.value));
  let rows = (rights.length ? rights : [""]).map((right, key) => ({ key, ...(right ? { position: read(right).position, output: right.slice(right.indexOf(":") + 1) } : { position: positions[0], output: "" }) }));
  let next = rows.length;
  const lines = el("ul", { class: "stack" });
  const add = el("button", { type: "button", on: { click: more } }, "Add a line");
  const node = el("fieldset", { class: "rights" }, el("legend", {}, label), lines, el("div", { class: "row" }, add));

  function draw() {
    keep(lines, rows, { key: (row) => row.key, make: line });
  }

  function line(row) {
    const position = el("select", { "aria-label": "Position", on: { input: () => (row.position = position.value) } }, [...new Set([...positions, row.position])].map((each) => el("option", { value: each, selected: each === row.position }, `position ${each}`)));
    const others = row.output && !known.has(row.output) ? [{ value: row.output, text: row.output }] : [];
    const output = el(
      "select",
      { "aria-label": "Output", on: { input: () => (row.output = output.value) } },
      el("option", { value: "", selected: !row.output }, "nothing yet"),
      [...choice.outputs, ...others].map((each) => el("option", { value: each.value, selected: each.value === row.output }, each.text)),
    );
    return el("li", { class: "row right" }, position, el("span", {}, "works"), output, el("button", { type: "button", class: "plain", on: { click: () => drop(row) } }, "Take away"));
  }

  function more() {
    rows = [...rows, { key: (next += 1), position: positions[0], output: "" }];
    draw();
    lines.lastElementChild.querySelector("select").focus();
  }

  function drop(row) {
    rows = rows.filter((each) => each !== row);
    draw();
    add.focus();
  }

  fill(lines);
  draw();
  return { node, value: () => [...new Set(rows.filter((row) => row.output).map((row) => `${row.position}:${row.output}`))] };
}
