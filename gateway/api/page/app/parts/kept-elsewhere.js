// One sentence where the roster comes from a central file: why nothing can be changed here.

import { get } from "../api.js";
import { el, say } from "../dom.js";
import { to } from "../router.js";

/** Why people are not edited on this page, and where they are; `plain` where it only stands beside something. */
export function elsewhere({ plain = false } = {}) {
  const where = el("span", {}, "a central file");
  get("/roster").then(({ place }) => place && say(where, `a central file, ${place.startsWith("/") ? place.split("/").at(-1) : place}`)).catch(() => {});
  return el("div", { class: plain ? "elsewhere small quiet" : "notice elsewhere" }, el("p", {}, "The roster of this site is ", where, ", so people are changed there; ", el("a", { href: to("roster") }, "here it is fetched and brought to the receivers"), "."));
}
