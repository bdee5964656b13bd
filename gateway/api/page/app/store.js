// What the page knows. A view watches resources by name; the store fetches them, again when an event says that they
// may have changed, and every 20 s in any case. It never holds back that something is old: `connection` says whether
// what is shown is live, and each resource when it was read and what went wrong.

import { get } from "./api.js";
import { follow } from "./stream.js";

/** Small resources that several views share. Pages of long lists are the views' own. */
const PATHS = {
  gateway: "/gateway",
  gates: "/gates",
  receivers: "/receivers",
  agreements: "/agreements",
  conditions: "/conditions?limit=200",
  roster: "/roster",
};

/** Which events may change a resource, by the event's noun; all others leave it alone. */
const TOLD_BY = {
  gateway: ["clock", "roster", "gateway", "outlet", "plan", "link", "journal"],
  gates: ["input", "output", "link", "receiver", "condition", "transmitter", "settings", "journal"],
  receivers: ["link", "receiver", "slot", "plan", "roster", "drift", "settings", "journal"],
  agreements: ["link", "receiver", "slot", "plan", "roster", "drift", "revocation", "journal"],
  conditions: ["condition", "journal"],
  roster: ["roster", "journal"],
};

const SETTLE_MS = 150; // several events at once ask once
const POLL_MS = 20_000;
const HIDDEN_MS = 60_000; // a tab that nobody sees gives its stream back: browsers allow six connections in all

export const connection = { state: "connecting", since: Date.now(), problem: null };

const known = new Map(Object.keys(PATHS).map((name) => [name, { value: null, problem: null, readAt: 0, watchers: new Set(), timer: 0, busy: false, again: false }]));
const connectionWatchers = new Set();
const eventWatchers = new Set();
let stream = null;
let poll = 0;
let hiding = 0;
let signedOut = () => {};

/** What is known of a resource: `value` (null before the first answer), `problem`, `readAt` (ms). */
export const state = (name) => known.get(name);
export const value = (name) => known.get(name).value;

/** Call `tell` now and whenever one of these resources is read again. Returns how to stop. */
export function watch(names, tell) {
  for (const name of names) {
    const entry = known.get(name);
    entry.watchers.add(tell);
    if (Date.now() - entry.readAt > 2000) refresh(name);
  }
  tell();
  return () => names.forEach((name) => known.get(name).watchers.delete(tell));
}

/** Call `tell` now and whenever the connection changes. Returns how to stop. */
export function watchConnection(tell) {
  connectionWatchers.add(tell);
  tell(connection);
  return () => connectionWatchers.delete(tell);
}

/** Call `tell` with each event of the stream. Returns how to stop. */
export function watchEvents(tell) {
  eventWatchers.add(tell);
  return () => eventWatchers.delete(tell);
}

/** Read resources again soon; at once when somebody has just changed something. */
export function refresh(...names) {
  for (const name of names) {
    const entry = known.get(name);
    if (!entry.timer) entry.timer = setTimeout(() => read(name, entry), SETTLE_MS);
  }
}

/** Begin to follow the gateway; `whenEnded` is told when the session is over. */
export function start(whenEnded) {
  signedOut = whenEnded;
  document.addEventListener("visibilitychange", onVisibility);
  addEventListener("pagehide", onLeave);
  addEventListener("pageshow", onReturn);
  poll = setInterval(() => refreshWatched(), POLL_MS);
  listen();
}

/** Forget everything: somebody else may sign in next. */
export function stop() {
  document.removeEventListener("visibilitychange", onVisibility);
  removeEventListener("pagehide", onLeave);
  removeEventListener("pageshow", onReturn);
  clearInterval(poll);
  clearTimeout(hiding);
  stream?.close();
  stream = null;
  for (const entry of known.values()) {
    clearTimeout(entry.timer);
    Object.assign(entry, { value: null, problem: null, readAt: 0, timer: 0, again: false });
    entry.watchers.clear();
  }
  connectionWatchers.clear();
  eventWatchers.clear();
}

function listen() {
  change("connecting");
  stream = follow({
    lastId: "",
    onEvent: heard,
    onEnded: signedOut,
    onState(state, problem) {
      change(state, problem);
      if (state === "live") refreshWatched();
    },
  });
}

function heard(event) {
  const noun = event.type.replace("local.gatepost.", "").split(".")[0];
  for (const [name, nouns] of Object.entries(TOLD_BY)) if (nouns.includes(noun) && known.get(name).watchers.size) refresh(name);
  for (const tell of eventWatchers) tell(event);
}

function change(state, problem = null) {
  if (state !== connection.state) connection.since = Date.now();
  connection.state = state;
  connection.problem = problem;
  for (const tell of connectionWatchers) tell(connection);
}

function refreshWatched() {
  for (const [name, entry] of known) if (entry.watchers.size) refresh(name);
}

async function read(name, entry) {
  entry.timer = 0;
  if (entry.busy) {
    entry.again = true;
    return;
  }
  entry.busy = true;
  try {
    entry.value = await get(PATHS[name]);
    entry.readAt = Date.now();
    entry.problem = null;
  } catch (problem) {
    entry.problem = problem;
  } finally {
    entry.busy = false;
  }
  for (const tell of [...entry.watchers]) tell();
  if (entry.again) {
    entry.again = false;
    refresh(name);
  }
}

// A page that is left gives its stream back at once, whether the browser keeps it for the way back or not.
function onLeave() {
  stream?.close();
  stream = null;
}

function onReturn(event) {
  if (event.persisted && !stream) listen();
}

function onVisibility() {
  clearTimeout(hiding);
  if (document.hidden) {
    hiding = setTimeout(() => {
      stream?.close();
      stream = null;
      change("paused");
    }, HIDDEN_MS);
  } else if (!stream) listen();
  else refreshWatched();
}
