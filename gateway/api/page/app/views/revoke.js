// Revoke a lost transmitter in three steps: find it, say why, see it proven gone at each receiver.

import { get, newKey, post } from "../api.js";
import { el, fill } from "../dom.js";
import { whenBack } from "../parts/again.js";
import { field, form } from "../parts/form.js";
import { caution, empty, failed, loading } from "../parts/notice.js";
import { proofOf } from "../parts/proof.js";
import { table } from "../parts/table.js";
import { replaceQuery, to } from "../router.js";
import { politely } from "../say.js";
import { watchEvents } from "../store.js";
import { timeOf } from "../times.js";
import { CAUTIONS, count, list, placeName } from "../words.js";

export const view = { path: "revoke", title: "Revoke", heading: "Revoke a lost transmitter", scope: "roster", open };

const TYPING_MS = 150;
const SHOWN = 12;

function open(query) {
  const steps = [step("Which one is it?"), step("Why, and for certain?"), step("Gone, and proven")];
  const register = registerPart();
  const node = el("div", { class: "view" }, el("ol", { class: "steps sheet" }, steps.map((each) => each.node)), register.node);
  const asking = new AbortController();
  let proofs = [];

  function step(title) {
    const body = el("div", { class: "stack" });
    const head = el("h2", { tabindex: "-1" }, title);
    return { node: el("li", {}, el("div", { class: "stack" }, head, body)), body, head };
  }

  function at(number) {
    for (const [place, each] of steps.entries()) {
      if (place < number) each.node.dataset.state = "done";
      else if (place === number) each.node.dataset.state = "now";
      else each.node.removeAttribute("data-state");
      if (place > number) fill(each.body);
    }
  }

  // --- first: which one ---

  function choose({ focus = true } = {}) {
    endProofs();
    replaceQuery({});
    at(0);
    fill(steps[0].body, search((picked) => ask(picked)));
    if (focus) steps[0].body.querySelector("input").focus();
  }

  // --- second: why, and for certain ---

  function ask(picked) {
    endProofs();
    replaceQuery({ serial: picked.all ? "" : picked.serials[0], holder: picked.all ? picked.holder : "" });
    at(1);
    showPicked(picked);
    const key = newKey();
    fill(
      steps[1].body,
      el("p", {}, whatHappens(picked)),
      form({
        fields: [field({ name: "reason", label: "Why", required: true, maxlength: 500, hint: "For those who ask later: lost on the pontoon, left the yard." }), caution(CAUTIONS.exits)],
        action: picked.serials.length > 1 ? `Revoke all ${picked.serials.length} now` : "Revoke it now",
        extra: el("button", { type: "button", on: { click: () => choose() } }, "Leave it"),
        async send({ reason }) {
          if (picked.all) await post("/revocation-batches", { holder: picked.holder, serials: picked.serials, reason }, { key });
          else await post("/revocations", { serial: picked.serials[0], reason }, { key });
          politely("Revoked. It is in force now, and being taken out of the receivers.");
          prove(picked, { focus: true });
        },
      }),
    );
    steps[1].head.focus();
  }

  function showPicked(picked) {
    fill(steps[0].body, el("p", {}, el("strong", {}, picked.holder || "Nobody in the roster"), `, ${picked.serials.length > 1 ? "transmitters" : "transmitter"} `, el("span", { class: "figures" }, list(picked.serials))), el("div", { class: "row" }, el("button", { type: "button", on: { click: () => choose() } }, "Another one")));
  }

  // --- third: the proof ---

  function prove(picked, { focus = false } = {}) {
    endProofs();
    at(2);
    showPicked(picked);
    fill(steps[1].body);
    let missing = picked.serials.length;
    const proven = () => (missing -= 1) || (steps[2].node.dataset.state = "done");
    proofs = picked.serials.map((serial) => proofOf(serial, { holder: picked.holder, lifted: () => choose(), proven }));
    fill(steps[2].body, proofs.map((proof) => proof.node));
    register.load();
    if (focus) steps[2].head.focus();
  }

  function endProofs() {
    for (const proof of proofs) proof.close();
    proofs = [];
  }

  // --- where to begin: at the start, or at somebody who was chosen elsewhere ---

  async function begin() {
    if (!query.serial && !query.holder) return choose({ focus: false });
    at(0);
    fill(steps[0].body, loading());
    try {
      const picked = query.serial ? await pickedOf(query.serial, asking.signal) : await allOf(query.holder, asking.signal);
      if (picked.revoked) prove(picked);
      else ask(picked);
    } catch (problem) {
      if (problem.name !== "AbortError") fill(steps[0].body, failed(problem, begin), el("div", { class: "row" }, el("button", { type: "button", on: { click: () => choose() } }, "Look for another one")));
    }
  }

  begin();
  return {
    node,
    close() {
      asking.abort();
      endProofs();
      register.close();
    },
  };
}

function whatHappens(picked) {
  const works = picked.sentences.length ? `Now: ${picked.sentences.join(" ")} ` : "No receiver holds it as far as is known. ";
  return `${works}From this moment on it must work nothing, whatever any roster says. It stays so until somebody lifts it here.`;
}

// --- finding: by holder or serial, as one types ---

function search(pick) {
  const q = field({ name: "q", label: "Holder or serial", kind: "search", autocomplete: "off", hint: "A part of the name, or digits that stand on the transmitter." });
  const found = el("div", { class: "stack" });
  const input = q.querySelector("input");
  let typing = 0;
  let asking = null;

  input.addEventListener("input", () => {
    clearTimeout(typing);
    typing = setTimeout(look, TYPING_MS);
  });

  async function look() {
    asking?.abort();
    const wanted = input.value.trim();
    if (!wanted) {
      fill(found);
      return;
    }
    asking = new AbortController();
    try {
      const { people, total } = await get("/people", { q: wanted, limit: SHOWN }, { signal: asking.signal });
      politely(total ? `${count(total, "person", "people")} found.` : "Nobody fits.");
      fill(found, people.length ? el("ul", { class: "lines" }, people.map((person) => choices(person, pick))) : unknown(wanted, pick), total > SHOWN && el("p", { class: "small quiet" }, `${total - SHOWN} more; type more of the name or the serial.`));
    } catch (problem) {
      if (problem.name !== "AbortError") fill(found, failed(problem, look));
    }
  }

  return el("form", { role: "search", "aria-label": "Find the transmitter", on: { submit: (event) => event.preventDefault() } }, q, found);
}

function choices(person, pick) {
  const open = person.transmitters.filter((card) => card.standing !== "revoked");
  return el(
    "li",
    { class: "stack" },
    el("h3", {}, person.holder || "Nobody in the roster"),
    person.transmitters.map((card) =>
      el(
        "div",
        { class: "row" },
        card.standing === "revoked"
          ? el("a", { class: "button", href: to("revoke", { serial: card.serial }) }, "See its proof")
          : el("button", { type: "button", "aria-label": `Choose transmitter ${card.serial} of ${person.holder || "nobody in the roster"}`, on: { click: () => pick(picked(person, [card])) } }, "This one"),
        el("span", {}, el("span", { class: "figures" }, card.serial), ` ${card.listed ? `${card.kind}. ` : ""}${card.sentence}`),
      ),
    ),
    person.holder && open.length > 1 && el("div", { class: "row" }, el("button", { type: "button", on: { click: () => allOf(person.holder).then(pick) } }, `All ${open.length} of ${person.holder}`)),
  );
}

function unknown(wanted, pick) {
  const digits = wanted.replace(/\s/g, "");
  if (!/^\d{1,10}$/.test(digits)) return empty("Nobody fits. Try a part of the name, or some digits of the serial.");
  const serial = digits.padStart(10, "0");
  return el("div", { class: "stack" }, empty(`Neither the roster nor a receiver knows ${serial}. It can be revoked all the same: then it can't come in either.`), el("button", { type: "button", on: { click: () => pick({ serials: [serial], holder: "", sentences: [], all: false }) } }, `Revoke ${serial} all the same`));
}

const picked = (person, cards, all = false) => ({ holder: person.holder, serials: cards.map((card) => card.serial), sentences: [...new Set(cards.flatMap((card) => card.places.map((place) => place.sentence)))], all, revoked: cards.every((card) => card.standing === "revoked") });

async function pickedOf(serial, signal) {
  try {
    const person = await get(`/people/${encodeURIComponent(serial)}`, {}, { signal });
    return picked(person, person.transmitters.filter((card) => card.serial === serial));
  } catch (problem) {
    if (problem.status !== 404) throw problem;
    const revoked = await get(`/revocations/${encodeURIComponent(serial)}`, {}, { signal }).catch(() => null);
    return { serials: [serial], holder: "", sentences: [], all: false, revoked: Boolean(revoked) };
  }
}

async function allOf(holder, signal) {
  const { transmitters } = await get("/revocation-selections", { holder }, { signal });
  return { holder, serials: transmitters.map((each) => each.serial), sentences: transmitters.map((each) => each.words), all: true, revoked: transmitters.every((each) => each.revoked) };
}

// --- all that are revoked ---

function registerPart() {
  const status = el("div", {}, loading());
  const place = el("div");
  const more = el("button", { type: "button", hidden: true, on: { click: () => load(false) } }, "Show older ones");
  const rows = [];
  let names = new Map();
  let cursor = null;
  let timer = 0;
  const found = table({
    caption: "In force, newest first",
    columns: [
      { key: "serial", title: "Transmitter", head: true, cell: (row) => el("a", { href: to("revoke", { serial: row.serial }) }, el("span", { class: "figures gone" }, row.serial)), sort: (row) => row.serial },
      { key: "holder", title: "Holder", cell: (row) => names.get(row.serial) || "Nobody in the roster", sort: (row) => names.get(row.serial) },
      { key: "time", title: "Since", cell: (row) => timeOf(row.time), sort: (row) => row.time },
      { key: "reason", title: "Why", cell: (row) => row.reason },
      { key: "proof", title: "Proof", cell: proofWords, sort: (row) => Number(row.proven) },
    ],
  });

  async function load(anew = true) {
    try {
      const page = await get("/revocations", { cursor: anew ? null : cursor, limit: 100 });
      if (anew) rows.length = 0;
      rows.push(...page.revocations);
      cursor = page.next;
      more.hidden = !cursor;
      names = await namesOf();
      found.show(rows);
      fill(place, rows.length > 0 && found.node);
      fill(status, rows.length ? null : empty("No transmitter is revoked."));
    } catch (problem) {
      fill(status, failed(problem, load));
    }
  }

  function again() {
    clearTimeout(timer);
    timer = setTimeout(load, 300);
  }

  const stops = [watchEvents((event) => event.type.startsWith("local.gatepost.revocation.") && again()), whenBack(again)];
  load();
  return {
    node: el("section", { class: "section", "aria-label": "Revoked transmitters" }, el("h2", {}, "Revoked transmitters"), status, place, el("div", { class: "row" }, more)),
    load,
    close() {
      clearTimeout(timer);
      for (const stop of stops) stop();
    },
  };
}

async function namesOf() {
  const { people } = await get("/people", { standing: "revoked", limit: 500 });
  return new Map(people.flatMap((person) => person.transmitters.map((card) => [card.serial, person.holder])));
}

function proofWords({ states }) {
  const of = (state) => Object.keys(states).filter((receiver) => states[receiver] === state).map(placeName);
  const parts = [
    of("pending").length && `≠ pending at ${list(of("pending"))}`,
    of("owed").length && `≠ to be taken out by hand at ${list(of("owed"))}`,
    of("by-hand").length && `taken out by hand, not proven, at ${list(of("by-hand"))}`,
    of("proven").length && `= proven at ${count(of("proven").length, "receiver")}`,
  ].filter(Boolean);
  return parts.join("; ") || "no receiver here";
}
