// A roster file that is looked at before it is anybody's roster: every fault beside the row it stands in. Nothing changes.

import { upload } from "../api.js";
import { el, fill } from "../dom.js";
import { politely } from "../say.js";
import { count } from "../words.js";
import { field, form } from "./form.js";
import { tag } from "./notice.js";
import { table } from "./table.js";

/** The form and, below it, what was found. */
export function rosterCheck() {
  const found = el("div", { class: "stack" });
  const node = form({
    class: "sheet",
    fields: [
      el("p", {}, "Hand in a file to see what the gateway makes of it. Nothing is changed by it, here or at any receiver."),
      el(
        "div",
        { class: "fields" },
        field({ name: "roster", label: "Roster", kind: "file", required: true, accept: ".csv,.txt,.tsv,.xlsx,.ods,text/csv", hint: "CSV, or a workbook (XLSX, ODS)." }),
        field({ name: "groups", label: "Groups", kind: "file", accept: ".toml", hint: "TOML. Needed where rows name a group, unless a workbook has a sheet of groups." }),
      ),
    ],
    action: "Check it",
    async send(_, asked) {
      fill(found);
      const { roster, groups } = asked.elements;
      const parts = new FormData();
      parts.append("roster", roster.files[0]);
      if (groups.files[0]) parts.append("groups", groups.files[0]);
      const [answer, rows] = await Promise.all([upload("/roster/checks", parts).then((each) => each.body), rowsOf(roster.files[0])]);
      fill(found, result(answer, rows));
      politely(verdict(answer));
    },
  });
  return el("div", { class: "stack" }, node, found);
}

function verdict({ ok, transmitters, holders, faults, warnings }) {
  const doubts = warnings.length ? ` ${count(warnings.length, "doubt")} to look at.` : "";
  if (ok) return `It can be used: ${count(transmitters, "transmitter")} of ${count(holders, "holder")}.${doubts}`;
  return `It would be refused: ${count(faults.length, "fault")}.${doubts}`;
}

const result = (answer, rows) => [
  el("p", { class: "lead" }, answer.ok ? tag("Fit", { shape: "=" }) : tag("Faulty", { shape: "◆", weight: "trouble" }), " ", verdict(answer)),
  answer.faults.length > 0 && faultTable("Faults: each must be mended", answer.faults, rows),
  answer.warnings.length > 0 && faultTable("Doubts: read as said here", answer.warnings, rows),
];

/** Faults of a roster; with the file's own rows beside them where they are known. */
export function faultTable(caption, faults, rows = null) {
  return table({
    caption,
    columns: [
      { key: "row", title: "Row", number: true, head: true, cell: (fault) => (fault.row ? `${fault.file ? `${fault.file}, ` : ""}${fault.row}` : fault.file || "The file"), sort: (fault) => fault.row },
      { key: "column", title: "Column", cell: (fault) => fault.column || "the row", sort: (fault) => fault.column },
      { key: "found", title: "What stands there", cell: (fault) => fault.found },
      { key: "remedy", title: "What to do", cell: (fault) => fault.remedy },
      ...(rows ? [{ key: "whole", title: "The whole row", cell: (fault) => el("code", {}, rows.get(fault.row) ?? "") }] : []),
    ],
    rows: faults,
  }).node;
}

/** The rows of a text file by the number that a spreadsheet shows; null for a workbook, whose rows can't be shown here. */
async function rowsOf(file) {
  const bytes = new Uint8Array(await file.arrayBuffer());
  if (bytes[0] === 0x50 && bytes[1] === 0x4b) return null; // a workbook is a ZIP
  const rows = new Map();
  let number = 1;
  let row = "";
  let quoted = false;
  for (const character of decode(bytes).replace(/\r\n?/g, "\n")) {
    if (character === '"') quoted = !quoted;
    if (character === "\n" && !quoted) {
      rows.set(number, row);
      number += 1;
      row = "";
    } else row += character;
  }
  return rows.set(number, row);
}

function decode(bytes) {
  const utf16 = bytes[0] === 0xff && bytes[1] === 0xfe ? "utf-16le" : bytes[0] === 0xfe && bytes[1] === 0xff ? "utf-16be" : "";
  if (utf16) return new TextDecoder(utf16).decode(bytes);
  try {
    return new TextDecoder("utf-8", { fatal: true }).decode(bytes);
  } catch {
    return new TextDecoder("windows-1252").decode(bytes);
  }
}
