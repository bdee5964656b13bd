// Where a gate stands, as a shape: two posts, and a leaf that shuts, leaves a gap, moves, or can't be seen.

import { svg } from "../dom.js";

const LEAVES = {
  shut: () => [svg("path", { d: "M10 20h28M10 33h28M24 20v13" })],
  open: () => [svg("path", { d: "M10 17 36 4" })],
  moving: () => [svg("path", { class: "unsure", d: "M10 20h28M10 33h28" }), svg("path", { d: "M24 40v-27m-5 5 5-5 5 5" })],
  unknown: () => [svg("path", { d: "M19 21a5 5 0 1 1 7.5 4.3c-1.7 1-2.5 2-2.5 3.7m0 5.500v.3" })],
};

export const gatePicture = (position) =>
  svg("svg", { viewBox: "0 0 48 48", "aria-hidden": "true", focusable: "false" }, svg("path", { class: position === "unknown" ? "post unsure" : "post", d: "M8 12v32M40 12v32" }), LEAVES[position]());
