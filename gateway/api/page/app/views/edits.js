// Who changed what in the roster that the gateway keeps itself, and when: before → after.

import { address, get } from "../api.js";
import { el, fill } from "../dom.js";
import { elsewhere } from "../parts/kept-elsewhere.js";
import { empty, failed, loading } from "../parts/notice.js";
import { to } from "../router.js";
import { timeOf } from "../times.js";
import { callerName, sentence } from "../words.js";

export const view = { path: "edits", title: "Who changed the roster", scope: "roster", under: "people", open };

const HOW = { edited: "Changed", imported: "Files put in", "from-receiver": "Begun from the receivers", mended: "Mended after damage" };
const FILES = [
  ["roster.csv", "Save the roster file"],
  ["groups.toml", "Save the groups file"],
  ["roster.xlsx", "Save both as a workbook (XLSX)"],
  ["roster.ods", "Save both as a workbook (ODS)"],
];
const MOST = 12; // sentences of one edit; a whole file may have hundreds

function open() {
  const state = el("div", {}, loading());
  const list = el("ol", { class: "sheet lines", hidden: true });
  const more = el("button", { type: "button", hidden: true, on: { click: () => load() } }, "Show older ones");
  const files = el("p", { class: "row small" });
  const node = el("div", { class: "view" }, el("p", {}, el("a", { href: to("people") }, "Everybody")), files, state, list, el("div", { class: "row" }, more));
  const asking = new AbortController();
  let cursor = "";

  async function load() {
    try {
      const page = await get("/roster/edits", { cursor, limit: 50 }, { signal: asking.signal });
      fill(state, page.edits.length || list.childElementCount ? null : empty("Nothing has been changed yet."));
      list.append(...page.edits.map(row));
      list.hidden = !list.childElementCount;
      cursor = page.next ?? "";
      more.hidden = !cursor;
      fill(files, list.childElementCount > 0 && FILES.map(([name, words]) => el("a", { href: address(`/roster/files/${name}`), download: name }, words)));
    } catch (problem) {
      if (problem.name === "AbortError") return;
      fill(state, problem.code === "roster-elsewhere" ? elsewhere() : failed(problem, load));
    }
  }

  load();
  return { node, close: () => asking.abort() };
}

const row = ({ number, time, who, how, words }) =>
  el("li", { class: "stack" }, el("p", { class: "small quiet" }, `${number}. `, timeOf(time), `, by ${callerName(who)}. ${HOW[how] ?? how}.`), el("ul", { class: "bullets" }, words.slice(0, MOST).map((text) => el("li", {}, sentence(text)))), words.length > MOST && el("p", { class: "small quiet" }, `And ${words.length - MOST} more.`));
