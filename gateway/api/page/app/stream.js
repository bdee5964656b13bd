// The event stream: server-sent events (WHATWG HTML, 9.2) read by fetch, resumed with the last id seen. Read by hand
// rather than by EventSource, for two things that it hides: the comments that come every 15 s while nothing happens,
// without which a dead network looks like a quiet yard, and the status with which the gateway refuses.

import { open, Problem } from "./api.js";

const SILENCE_MS = 40_000; // more than two of the gateway's comments
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 15_000;

/**
 * Follow until `close()`. `onEvent` gets each event as it comes; `onState` gets `live`, or `lost` with the problem.
 * `lastId` is where to go on from; without one only news comes.
 */
export function follow({ lastId = "", onEvent, onState, onEnded }) {
  let ended = false;
  let attempt = null;
  let wake = () => {};
  const hurry = () => wake();
  addEventListener("online", hurry);

  (async () => {
    let wait = FIRST_WAIT_MS;
    while (!ended) {
      attempt = new AbortController();
      try {
        await read(attempt, lastId, () => {
          wait = FIRST_WAIT_MS;
          onState("live");
        }, (event, id) => {
          lastId = id;
          onEvent(event);
        });
        throw new Problem({ code: "stream-ended", detail: "The gateway ended the stream." });
      } catch (problem) {
        if (ended) return;
        if (problem.status === 401) return onEnded(problem);
        if (problem.status === 400) lastId = ""; // an id that this gateway can't have given
        onState("lost", problem);
      }
      await new Promise((resolve) => {
        wake = resolve;
        setTimeout(resolve, wait * (0.75 + Math.random() / 2));
      });
      wait = Math.min(wait * 2, LONGEST_WAIT_MS);
    }
  })();

  return {
    close() {
      ended = true;
      removeEventListener("online", hurry);
      attempt?.abort();
      wake();
    },
  };
}

async function read(attempt, lastId, onLive, onEvent) {
  let watch = setTimeout(() => attempt.abort(), SILENCE_MS);
  try {
    const answer = await open("/events/stream", { last_event_id: lastId }, attempt.signal);
    const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
    onLive();
    let rest = "";
    for (;;) {
      const { value, done } = await reader.read();
      if (done) return;
      clearTimeout(watch);
      watch = setTimeout(() => attempt.abort(), SILENCE_MS);
      const blocks = (rest + value).replaceAll("\r\n", "\n").split("\n\n");
      rest = blocks.pop();
      for (const block of blocks) dispatch(block, onEvent);
    }
  } finally {
    clearTimeout(watch);
  }
}

function dispatch(block, onEvent) {
  let id = "";
  const data = [];
  for (const line of block.split("\n")) {
    const colon = line.indexOf(":");
    if (colon <= 0) continue; // a comment, or a field without a value
    const field = line.slice(0, colon);
    const value = line.slice(colon + 1).replace(/^ /, "");
    if (field === "id") id = value;
    else if (field === "data") data.push(value);
  }
  if (data.length) onEvent(JSON.parse(data.join("\n")), id);
}
