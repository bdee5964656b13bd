// A list as long as it likes. Rows come in pages; only pages near the window have elements, the others keep their height
// and nothing else, so that ten thousand rows weigh no more than a few hundred.

import { el, fill, keep } from "../dom.js";

const NEAR = "1200px 0px";
const FULL = 200; // news joins the first page up to here, then begins a new one

/**
 * `make(row)` gives a row's element, `key(row)` its name, `heading(row)` the words that stand above the first row of
 * each group (a day). `append` older rows, `prepend` newer ones, `clear`, `close`.
 */
export function longList({ label, key, make, heading }) {
  const node = el("div", { class: "log", role: "group", "aria-label": label });
  const byNode = new Map();
  let pages = [];
  const watcher = new IntersectionObserver((entries) => {
    for (const entry of entries) {
      const page = byNode.get(entry.target);
      if (page && entry.isIntersecting) show(page);
      else if (page) hide(page);
    }
  }, { rootMargin: NEAR });

  function add(rows, place) {
    const page = { rows, node: el("ol"), shown: true };
    byNode.set(page.node, page);
    pages.splice(place, 0, page);
    node.insertBefore(page.node, node.children[place] ?? null);
    draw(page);
    watcher.observe(page.node);
  }

  function draw(page) {
    const before = pages[pages.indexOf(page) - 1];
    let last = before ? heading(before.rows.at(-1)) : null;
    const items = [];
    for (const row of page.rows) {
      const words = heading(row);
      if (words !== last) items.push({ key: `above ${key(row)}`, words });
      last = words;
      items.push({ key: key(row), row });
    }
    keep(page.node, items, { key: (item) => item.key, make: (item) => (item.row ? make(item.row) : el("li", { class: "log-day" }, item.words)) });
  }

  function show(page) {
    if (page.shown) return;
    page.shown = true;
    draw(page);
    page.node.style.removeProperty("height");
  }

  function hide(page) {
    if (!page.shown || page.node.contains(document.activeElement)) return;
    page.node.style.setProperty("height", `${page.node.offsetHeight}px`);
    page.shown = false;
    fill(page.node);
  }

  return {
    node,
    append(rows) {
      if (rows.length) add(rows, pages.length);
    },
    prepend(rows) {
      if (!rows.length) return;
      const first = pages[0];
      if (first && first.rows.length + rows.length <= FULL) {
        first.rows = [...rows, ...first.rows];
        if (first.shown) draw(first);
        else show(first);
      } else add(rows, 0);
      if (pages[1]?.shown) draw(pages[1]); // its first heading may have moved up
    },
    clear() {
      watcher.disconnect();
      byNode.clear();
      pages = [];
      fill(node);
    },
    close: () => watcher.disconnect(),
  };
}
