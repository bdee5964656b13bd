// Settings of a receiver: on-times under each gate, protection, and what its outputs are called. One receiver at a time:
// each reading goes over its line.

import { el, fill } from "../dom.js";
import { field } from "../parts/form.js";
import { empty, failed, loading, notAllowed } from "../parts/notice.js";
import { outputNames } from "../parts/output-names.js";
import { receiverSettings } from "../parts/receiver-settings.js";
import { replaceQuery } from "../router.js";
import { may } from "../session.js";
import { refresh, state, watch } from "../store.js";
import { placeName } from "../words.js";

const reachable = (receiver) => receiver.capabilities.includes("settings") && receiver.link !== "by-hand";

export const view = { path: "settings", title: "Settings", heading: "Settings of receivers", open };

function open(query) {
  const which = field({ name: "receiver", label: "Receiver", kind: "select" });
  const select = which.querySelector("select");
  const picker = el("form", { class: "sheet filters", hidden: true, on: { submit: (event) => event.preventDefault() } }, which);
  const status = el("div", {}, loading());
  const place = el("div", { class: "stack" });
  const node = el("div", { class: "view" }, may("admin") ? null : notAllowed("admin"), picker, status, place);
  let cards = [];
  let shown = "";

  function draw() {
    const { value: receivers, problem } = state("receivers");
    if (!receivers || !state("gates").value) {
      fill(status, (problem ?? state("gates").problem) ? failed(problem ?? state("gates").problem, () => refresh("receivers", "gates")) : loading());
      return;
    }
    const all = receivers.receivers;
    if (!all.length) {
      fill(status, empty("The settings file names no receiver yet."));
      return;
    }
    fill(status);
    picker.hidden = all.length < 2;
    if (select.options.length !== all.length) fill(select, all.map((receiver) => el("option", { value: receiver.id }, placeName(receiver.id))));
    const wanted = all.find((receiver) => receiver.id === (shown || query.receiver)) ?? all.find(reachable) ?? all[0];
    if (wanted.id !== shown) show(wanted);
  }

  function show(receiver) {
    for (const card of cards) card.close();
    shown = receiver.id;
    select.value = receiver.id;
    cards = [...(reachable(receiver) ? [receiverSettings(receiver)] : []), outputNames(receiver)];
    fill(place, el("h2", { class: "unseen" }, placeName(receiver.id)), reachable(receiver) ? null : empty(receiver.link === "by-hand" ? "No line reaches this receiver, so its on-times and its protection are set at the board." : "This receiver has no settings that the gateway can reach: its map has none."), cards.map((card) => card.node));
  }

  select.addEventListener("input", () => {
    replaceQuery({ receiver: select.value });
    show(state("receivers").value.receivers.find((receiver) => receiver.id === select.value));
  });
  const stop = watch(["receivers", "gates"], draw);
  return {
    node,
    close() {
      stop();
      for (const card of cards) card.close();
    },
  };
}
