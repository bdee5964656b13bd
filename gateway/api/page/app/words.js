// The page's own words. Sentences about what happened come from the gateway; here are names of things, what to do about
// a condition, and what the page says about itself. One word per idea, those of docs/glossary.md; on the page it is
// "changed at the board", "what the receiver holds" and "pending changes".

import { who } from "./session.js";

export const DEVICE_NOTE =
  "Gatepost is not a safety device and replaces none: obstacle detection, force limits and emergency stop belong to the gate's own control unit. Local codes, the gate's instructions and a licensed installer decide.";

/** Cautions to stand beside any control, numbered as in docs (STANDARDS: powered gates). */
export const CAUTIONS = {
  operate: "See the gate, or know that nobody is near it, before you operate it. What is shown here may be late. Keep children and people away from a moving gate.",
  onTime: "A changed on-time or output mode can change how the gate moves: have it tested on site by a qualified person.",
  exits: "Exits and emergency access must not depend on a transmitter: ending people must not lock anyone in.",
  dates: "Dates are kept by the gateway alone: while it is off, a transmitter that has ended still works.",
  listening: "While the receiver listens, known transmitters go on working: gates may move.",
};

/** `fennel-quay` as people write it. */
export const placeName = (id) => String(id).split(/[-_ ]+/).map((word) => word.charAt(0).toUpperCase() + word.slice(1)).join(" ");

export const WEIGHTS = { alarm: "Now", trouble: "Today", notice: "This month" };
export const WEIGHT_SHAPES = { alarm: "▲", trouble: "◆", notice: "○" };

/** What to do about a condition, by its kind (docs/conditions.md). */
export const REMEDIES = {
  "left-open": "Look what keeps it open: something in the way, a held contact, a drive without power. Then shut it where you see it.",
  "did-not-open": "Look at the gate: its drive, its power, a lock, something in the way.",
  "did-not-close": "Look whether something is in the way of the gate or of a light barrier, and at its drive.",
  "opened-without-command": "Look who or what opened it: a manual release, a wind-blown leaf, or another control that needs an input here.",
  "contacts-contradict": "Have the contacts and their wires looked at; until then nobody can tell where the gate stands.",
  chatter: "Look for a loose contact, a loose wire or water in a housing.",
  tamper: "Look at the housing, and shut it.",
  "safety-violated": "Look what blocks the light barrier or the edge, and clean it. Never bypass it.",
  "power-lost": "Look at the fuse and the supply of the gate.",
  "receiver-silent": "Look at the receiver's power and at the cable between it and the gateway.",
  "line-noisy": "Have the cable, its screen and its termination looked at.",
  "unknown-repeated": "Ask who it can be. Whoever should have access is added to the roster.",
  "revoked-used": "Somebody has the transmitter that was lost. It opened nothing if it is proven gone.",
  "battery-low": "Tell the holder to change the battery of this transmitter.",
  "transmitter-unused": "Ask whether it is still needed; end it if not.",
  "service-due": "Have the gate serviced. Taking note here says that it is done, and counts anew.",
  "board-reset": "Restore a snapshot or approve the roster, on the page Snapshots. Nothing comes back by itself.",
  "drift-open": "Look what was changed at the board, and decide whether it stays.",
  "clock-untrusted": "Look whether the gateway reaches a time server.",
};

export const LINKS = {
  connecting: "not heard yet since the gateway started",
  online: "answers",
  silent: "does not answer",
  "port-lost": "its port is gone",
  "port-busy": "its port is held by another program",
  "password-refused": "refuses the link password",
  "wrong-receiver": "another receiver answers in its place",
  "by-hand": "has no wire to the gateway; changes are made by hand",
};

/** How a transmitter stands as a whole, in a word or three; the gateway's sentence says the rest. */
export const STANDINGS = {
  works: "Works",
  pending: "Changes pending",
  unknown: "Not known",
  "not-yet": "Not yet",
  ended: "Ended",
  revoked: "Revoked",
  "no-rights": "Works nothing here",
  unlisted: "Not in the roster",
};
export const STANDING_SHAPES = { works: "=", pending: "≠", unknown: "?", "not-yet": "→", ended: "×", revoked: "×", "no-rights": "∅", unlisted: "≠" };

export const AGREEMENTS = { equal: "Equal to the roster", differs: "Changes pending", waits: "Roster waits", unknown: "Not known" };

export const SCOPE_NEEDED = {
  roster: "Your token does not let you see who people are or change who has access. Ask for one with the scope roster.",
  operate: "Your token does not let you work outputs. Ask for one with the scope operate.",
  admin: "Your token does not let you change this. Ask for one with the scope admin.",
};

/** Who did something: kept is `token:4f9a`, or `local:0` for who worked on the gateway itself. */
export const callerName = (kept) => who().callers[kept] ?? (kept === "local:0" ? "root on the gateway" : kept.replace(/^local:/, "user ").replace(/^token:/, "token "));

/** `3 transmitters`, `1 transmitter`. */
export const count = (number, one, many = `${one}s`) => `${number.toLocaleString("en-GB")} ${number === 1 ? one : many}`;

/** How often a gate has opened, as the end of a sentence: `opened twice since the last service`. */
export const opened = (gate) => `${gate.cycles ? `opened ${{ 1: "once", 2: "twice" }[gate.cycles] ?? count(gate.cycles, "time")}` : "not opened"} since ${gate.service_cycles ? "the last service" : "counting began"}`;

/** `a, b and c` */
export const list = (words) => (words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} and ${words.at(-1)}`);

/** A sentence with its first letter large and a full stop. */
export function sentence(text) {
  const clean = String(text).trim();
  if (!clean) return "";
  return clean.charAt(0).toUpperCase() + clean.slice(1) + (/[.!?…”]$/.test(clean) ? "" : ".");
}
