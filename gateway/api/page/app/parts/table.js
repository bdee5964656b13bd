// Tables: a caption, real headings, sorting by a button in the heading. On a phone each row folds to a small block.

import { el, fill, set } from "../dom.js";

/**
 * `columns` are {key, title, cell(row), sort?(row), number?, short?, bare?, head?, name?}. `cell` gives text or elements; with
 * `sort` the column can be sorted by what it gives; `short` is never broken into lines; `bare` goes without its title
 * where the table folds; `head` makes its cells row headings, `name` gives them the room of a name. `show(rows)` fills
 * it anew.
 */
export function table({ caption, columns, rows = [], sorted = null, onSort = null }) {
  let order = sorted; // {key, down}
  let shown = rows;
  const body = el("tbody");
  const heads = columns.map((column) =>
    el(
      "th",
      { scope: "col", class: column.number && "number", "data-column": column.key },
      column.sort ? el("button", { type: "button", on: { click: () => sortBy(column.key) } }, column.title) : column.title,
    ),
  );
  const node = el("div", { class: "table-box" }, el("table", { class: "folds" }, el("caption", {}, caption), el("thead", {}, el("tr", {}, heads)), body));

  function sortBy(key) {
    order = { key, down: order?.key === key ? !order.down : false };
    if (onSort) onSort(order);
    draw();
  }

  function draw() {
    const column = columns.find((each) => each.key === order?.key && each.sort);
    const sortedRows = column && !onSort ? [...shown].sort((a, b) => compare(column.sort(a), column.sort(b)) * (order.down ? -1 : 1)) : shown;
    for (const head of heads) set(head, "aria-sort", head.dataset.column === order?.key ? (order.down ? "descending" : "ascending") : null);
    fill(body, sortedRows.map((row) => el("tr", {}, columns.map((each) => cell(each, row)))));
  }

  function cell(column, row) {
    const content = column.cell(row);
    return column.head ? el("th", { scope: "row", class: column.name && "name" }, content) : el("td", { class: column.number ? "number" : column.short && "short", "data-label": column.bare ? null : column.title }, content);
  }

  draw();
  return {
    node,
    show(next) {
      shown = next;
      draw();
    },
  };
}

function compare(a, b) {
  if (a === b) return 0;
  if (a === null || a === undefined || a === "") return 1;
  if (b === null || b === undefined || b === "") return -1;
  return typeof a === "number" && typeof b === "number" ? a - b : String(a).localeCompare(String(b), "en", { numeric: true });
}
