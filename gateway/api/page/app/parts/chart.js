// A chart of bars as SVG of our own. Who can't see it, or wants the numbers, opens the table below it.

import { el, fill, svg } from "../dom.js";
import { table } from "./table.js";

const WIDTH = 360;
const HEIGHT = 130;
const LEFT = 30;
const BOTTOM = 20;

/** `bars` are {label, title, value, now?}: a short label below, a long one for the table. `unit` is what is counted. */
export function chart({ title, unit, first }) {
  const figure = el("figure", { class: "chart" });
  return {
    node: figure,
    show(bars) {
      const most = Math.max(1, ...bars.map((bar) => bar.value));
      const total = bars.reduce((sum, bar) => sum + bar.value, 0);
      const numbers = table({
        caption: title,
        columns: [
          { key: "label", title: first, cell: (bar) => bar.title, head: true },
          { key: "value", title: unit, cell: (bar) => String(bar.value), number: true },
        ],
        rows: bars,
      });
      const wasOpen = figure.querySelector("details")?.open ?? false;
      fill(
        figure,
        el("figcaption", {}, el("strong", {}, title), el("span", { class: "quiet" }, ` ${total.toLocaleString("en-GB")} in all`)),
        draw(bars, most, `${title}: ${total} in all; the numbers are in the table below.`),
        el("details", { open: wasOpen }, el("summary", {}, "The numbers as a table"), numbers.node),
      );
    },
  };
}

function draw(bars, most, label) {
  const step = (WIDTH - LEFT) / Math.max(1, bars.length);
  const top = niceTop(most);
  const y = (value) => 8 + (HEIGHT - BOTTOM - 8) * (1 - value / top);
  const every = Math.ceil(bars.length / 8);
  return svg(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img", "aria-label": label },
    [0, top / 2, top].map((value) => [
      svg("line", { x1: LEFT, x2: WIDTH, y1: y(value), y2: y(value) }),
      Number.isInteger(value) && svg("text", { x: LEFT - 6, y: y(value) + 4, "text-anchor": "end" }, value),
    ]),
    bars.map((bar, place) => [
      svg("rect", { class: bar.now && "now", x: LEFT + place * step + step * 0.15, width: step * 0.7, y: y(bar.value), height: y(0) - y(bar.value), rx: 1 }),
      place % every === 0 && svg("text", { x: LEFT + (place + 0.5) * step, y: HEIGHT - 4, "text-anchor": "middle" }, bar.label),
    ]),
  );
}

function niceTop(most) {
  const power = 10 ** Math.floor(Math.log10(most));
  return [1, 2, 4, 6, 10].map((factor) => factor * power).find((top) => top >= most);
}
