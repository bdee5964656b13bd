// Where a gate stands, as a shape: two posts, and a leaf that shuts, leaves a gap, moves, or can't be seen.

import { svg } from "../dom.js";

const LEAVES = {
  shut: () => [svg("path", { d: "M10 17h28M10 31h28M24 17v14" })],
  open: () => [svg("path", { d: "M10 17 4 9M10 31 4 39M38 17l6-8M38 31l6 8" })],
  moving: () => [svg("path", { d: "M10 17h9M10 31h9M38 17h-6M38 31h-6" }), svg("path", { d: "M21 24h8m-3-3 3 3-3 3" })],
  unknown: () => [svg("path", { class: "unsure", d: "M10 17h28M10 31h28" }), svg("path", { d: "M21 22a3 3 0 1 1 4 3c-1 .5-1 1-1 2m0 3v.2" })],
};

export const gatePicture = (position) =>
  svg("svg", { viewBox: "0 0 48 48", "aria-hidden": "true", focusable: "false" }, svg("path", { class: "post", d: "M8 8v32M40 8v32" }), LEAVES[position]());
