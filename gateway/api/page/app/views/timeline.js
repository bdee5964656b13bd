import { el } from "../dom.js";
export const view = { path: "timeline", title: "Timeline", open: () => ({ node: el("p", {}, "..."), close() {} }) };
