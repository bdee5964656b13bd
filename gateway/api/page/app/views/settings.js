// Settings of a receiver: on-times under each gate, protection, and what stands elsewhere. One receiver at a time: each
// reading goes over its line.

import { el, fill } from "../dom.js";
import { field } from "../parts/form.js";
import { empty, failed, loading, notAllowed } from "../parts/notice.js";
import { receiverSettings } from "../parts/receiver-settings.js";
import { replaceQuery } from "../router.js";
import { may } from "../session.js";
import { refresh, state, watch } from "../store.js";
import { placeName } from "../words.js";

export const view = { path: "settings", title: "Settings", heading: "Settings of receivers", open };

function open(query) {
  const which = field({ name: "receiver", label: "Receiver", kind: "select" });
  const select = which.querySelector("select");
  const picker = el("form", { class: "sheet filters", hidden: true, on: { submit: (event) => event.preventDefault() } }, which);
  const status = el("div", {}, loading());
  const place = el("div", { class: "stack" });
  const node = el("div", { class: "view" }, may("admin") ? null : notAllowed("admin"), picker, status, place);
  let card = null;
  let shown = "";

  function draw() {
    const { value: receivers, problem } = state("receivers");
    if (!receivers || !state("gates").value) {
      fill(status, (problem ?? state("gates").problem) ? failed(problem ?? state("gates").problem, () => refresh("receivers", "gates")) : loading());
      return;
    }
    const able = receivers.receivers.filter((receiver) => receiver.capabilities.includes("settings") && receiver.link !== "by-hand");
    if (!able.length) {
      fill(status, empty("No receiver here has settings that the gateway can reach: their maps have none, or no line leads to them."));
      return;
    }
    fill(status);
    picker.hidden = able.length < 2;
    if (select.options.length !== able.length) fill(select, able.map((receiver) => el("option", { value: receiver.id }, placeName(receiver.id))));
    const wanted = able.find((receiver) => receiver.id === (shown || query.receiver)) ?? able[0];
    if (wanted.id !== shown) show(wanted);
  }

  function show(receiver) {
    card?.close();
    shown = receiver.id;
    select.value = receiver.id;
    card = receiverSettings(receiver);
    fill(place, el("h2", { class: "unseen" }, placeName(receiver.id)), card.node);
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
      card?.close();
    },
  };
}
