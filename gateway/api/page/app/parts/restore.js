// Bringing a receiver to a snapshot: what it would do first, then the receiver's name typed by hand, then its progress.

import { get, newKey, post, Problem } from "../api.js";
import { el, fill } from "../dom.js";
import { to } from "../router.js";
import { politely } from "../say.js";
import { may } from "../session.js";
import { refresh, value, watch } from "../store.js";
import { full } from "../times.js";
import { CAUTIONS, count, placeName } from "../words.js";
import { field, form, tick } from "./form.js";
import { caution, failed, loading } from "./notice.js";
import { lines, planCard, planWords, previewOf } from "./plan.js";
import { waits } from "./waits.js";

const WAYS = { restore: "Bring it back to this", replace: "Hold this and nothing else", merge: "Add what it lacks" };

/** The view of one snapshot that is to be restored. Returns {node, close}. */
export function restore(id, { target = "" } = {}) {
  const about = el("div", {}, loading());
  const place = el("div", { class: "stack" });
  const node = el("div", { class: "stack" }, about, place);
  const closing = [];
  let closed = false;

  async function load() {
    try {
      const [snapshot] = await Promise.all([get(`/snapshots/${encodeURIComponent(id)}`), known()]);
      if (closed) return;
      fill(about, el("p", {}, `${placeName(snapshot.receiver.replace(/^import\./, ""))} as it was ${full(snapshot.taken)}: ${count(snapshot.slots.length, "transmitter")}, board ${snapshot.identity.serial || "without a serial"}. `, el("a", { href: to("snapshots", { compare: id, with: target || snapshot.receiver }) }, "What is otherwise now")));
      fill(place, orderForm(snapshot));
    } catch (problem) {
      if (!closed) fill(about, failed(problem, load));
    }
  }

  // Which receivers there are, once the store knows.
  const known = () => new Promise((resolve) => closing.push(watch(["receivers"], () => value("receivers") && resolve())));

  function orderForm(snapshot) {
    const able = value("receivers").receivers.filter((receiver) => receiver.capabilities.includes("slots") && receiver.link !== "by-hand");
    const first = able.find((receiver) => receiver.id === (target || snapshot.receiver)) ?? able[0];
    const receiver = field({ name: "receiver", label: "Into which receiver", kind: "select", value: first?.id, options: able.map((each) => ({ value: each.id, text: placeName(each.id) })) });
    const way = field({ name: "way", label: "How", kind: "select" });
    const shown = el("div", { class: "stack" });
    const select = receiver.querySelector("select");
    const ways = way.querySelector("select");
    const offer = () => fill(ways, (select.value === snapshot.receiver ? ["restore"] : ["replace", "merge"]).map((each) => el("option", { value: each }, WAYS[each])));
    select.addEventListener("input", offer);
    offer();
    const asked = form({
      class: "sheet",
      fields: [
        el("div", { class: "fields" }, receiver, way),
        may("admin") && tick({ name: "settings", label: "Set on-times and local programming too" }),
        may("admin") && tick({ name: "replacement", label: "The receiver was replaced: take the one that answers now for the right one" }),
      ],
      action: "Show what it would do",
      async send(order) {
        fill(shown);
        const body = { snapshot: snapshot.id, way: order.way, settings: order.settings ?? false };
        const { body: preview } = await post(`/receivers/${encodeURIComponent(order.receiver)}/restore-previews`, order.replacement ? { ...body, replacement: "" } : body);
        const sent = order.replacement ? { ...body, replacement: preview.answers.serial } : body;
        fill(shown, previewed(order.receiver, preview, sent));
        politely(planWords(preview.plan));
      },
    });
    asked.addEventListener("input", () => fill(shown)); // a preview of something else must not stay
    return el("div", { class: "stack" }, asked, shown);
  }

  function previewed(receiver, preview, body) {
    const nothing = !preview.plan.changes.length && !preview.settings.length;
    return el(
      "section",
      { class: "sheet", "aria-label": `What it would do at ${placeName(receiver)}` },
      el("h2", {}, `What it would do at ${placeName(receiver)}`),
      lines("First, at the board", preview.board),
      lines("To know", preview.notes),
      preview.unconfirmed && el("p", {}, el("strong", {}, `The receiver ${preview.answers.serial} answers now and will be taken for the right one.`)),
      previewOf(preview.plan),
      lines("Settings that are set", preview.settings),
      preview.settings.length + preview.board.length > 0 && caution(CAUTIONS.onTime),
      nothing && !preview.unconfirmed ? el("p", {}, "There is nothing to restore: it holds all of it.") : order(receiver, preview, body),
    );
  }

  function order(receiver, preview, body) {
    const key = newKey();
    return form({
      class: "confirm",
      fields: [
        el("p", {}, "What it holds now is kept as a snapshot first. What is revoked stays out. The link password is in no snapshot: set it again afterwards. The roster then waits here until somebody says what is right."),
        preview.board.length > 0 && tick({ name: "board", label: "What is to be set at the board is set" }),
        field({ name: "name", label: `To confirm, type the receiver's name: ${receiver}`, required: true, autocomplete: "off", spellcheck: "false" }),
      ],
      action: preview.plan.by_hand ? "Put it on the visit sheet" : "Write it to the receiver",
      async send({ name, board }) {
        if (preview.board.length && !board) throw new Problem({ code: "not-sent", detail: "Something is to be set at the board first.", remedy: "Set the selectors as said above, then tick the box.", places: [{ pointer: "#/board", detail: "Not ticked." }] });
        if (name !== receiver) throw new Problem({ code: "not-sent", detail: "That is not this receiver's name. Nothing was written.", remedy: `Type ${receiver}, or leave it.`, places: [{ pointer: "#/name", detail: `It is ${receiver}.` }] });
        const { body: plan } = await post(`/receivers/${encodeURIComponent(receiver)}/restores`, body, { key });
        begun(receiver, plan);
      },
    });
  }

  function begun(receiver, plan) {
    const card = planCard(plan.id, { ended: () => refresh("receivers", "agreements") });
    const waiting = waits({ only: receiver });
    closing.push(card.close, waiting.close);
    fill(place, card.node, waiting.node, el("p", {}, el("a", { href: to("snapshots") }, "All snapshots")));
    card.node.focus();
    refresh("receivers");
  }

  load();
  return {
    node,
    close() {
      closed = true;
      for (const end of closing) end();
    },
  };
}
