// Pending changes, and how they get to the receivers: by the timetable, at once when somebody says so, or by hand.

import { newKey, post } from "../api.js";
import { el, fill, keep, say } from "../dom.js";
import { to } from "../router.js";
import { may } from "../session.js";
import { refresh, state, value, watch } from "../store.js";
import { moment } from "../times.js";
import { count, placeName } from "../words.js";
import { confirm } from "./confirm.js";
import { failed } from "./notice.js";
import { planCard } from "./plan.js";

/** {node, close}: empty while every receiver is equal to the roster. */
export function pending() {
  const how = el("p", { class: "small quiet" });
  const list = el("ul", { class: "lines" });
  const plans = el("div", { class: "stack" });
  const ask = el("div", {});
  const node = el("section", { class: "sheet pending no-paper", "aria-label": "Pending changes", hidden: true }, el("h3", {}, "Pending changes"), list, how, ask, plans);
  let cards = [];
  let offered = "";

  function draw() {
    const waiting = (value("agreements")?.agreements ?? []).filter((each) => each.state === "differs");
    const rows = new Map((value("receivers")?.receivers ?? []).map((each) => [each.id, each]));
    const wired = waiting.filter((each) => rows.get(each.receiver)?.link !== "by-hand");
    node.hidden = !waiting.length && !cards.length;
    keep(list, waiting, { key: (each) => each.receiver, make: () => el("li", {}, el("p", {})), update: (item, each) => drawRow(item, each, rows.get(each.receiver)) });
    say(how, wired.length ? timetable() : waiting.length ? "What has no wire is done by hand and ticked on its visit sheet." : "Nothing is pending any more.");
    const now = wired.map((each) => each.receiver).join(" ");
    if (now !== offered && may("roster")) fill(ask, now && bring(now.split(" ")));
    offered = now;
  }

  function bring(receivers) {
    const key = newKey();
    return confirm({
      open: "Bring them now",
      action: "Write them",
      about: `What is pending is written to ${receivers.map(placeName).join(" and ")} now. A snapshot comes first, every slot is read back, and removals beyond the guard wait for approval.`,
      send: () => start(receivers, key),
    });
  }

  async function start(receivers, key) {
    for (const card of cards) card.close();
    cards = [];
    fill(plans);
    for (const receiver of receivers) {
      try {
        const { body } = await post("/plans", { receiver }, { key: `${key}-${receiver}` });
        const card = planCard(body.id);
        cards.push(card);
        plans.append(card.node);
      } catch (problem) {
        plans.append(failed(problem));
      }
    }
    refresh("agreements", "receivers");
  }

  const stop = watch(["agreements", "receivers", "gateway"], draw);
  return {
    node,
    close() {
      stop();
      for (const card of cards) card.close();
    },
  };
}

function drawRow(item, { receiver, sentence, state: agreement }, row) {
  say(item.firstElementChild, `${placeName(receiver)}: ${sentence}`);
  item.querySelector("a")?.remove();
  if (agreement === "differs" && row?.link === "by-hand") item.append(el("a", { href: to("visit-sheet", { receiver }) }, row.visit?.open ? `Visit sheet, ${count(row.visit.open, "line")} to do` : "Visit sheet"));
}

function timetable() {
  const gateway = state("gateway").value;
  if (!gateway) return "";
  return gateway.next_run ? `The timetable brings them at ${moment(gateway.next_run)}; or bring them now.` : "No timetable is set, so they wait until somebody brings them.";
}
