// What a view has asked for itself is asked for again when the connection is back after it was lost.

import { connection, watchConnection } from "../store.js";

/** Call `tell` each time the page is live again. Returns how to stop. */
export function whenBack(tell) {
  let before = connection.state;
  return watchConnection(({ state }) => {
    const back = state === "live" && (before === "lost" || before === "paused");
    before = state === "connecting" ? before : state;
    if (back) tell();
  });
}
