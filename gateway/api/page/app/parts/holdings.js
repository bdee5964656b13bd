// Saying what a receiver without a wire holds: nothing, or a list as a file. Until somebody says it nothing is planned.

import { put, upload } from "../api.js";
import { el } from "../dom.js";
import { politely } from "../say.js";
import { refresh } from "../store.js";
import { confirm } from "./confirm.js";
import { field } from "./form.js";

/** The two ways, side by side; `done()` when it is said. */
export function holdings(receiver, done) {
  const path = `/receivers/${encodeURIComponent(receiver)}/holdings`;
  const after = () => {
    politely("It is noted.");
    refresh("receivers", "agreements");
    done();
  };
  return el(
    "div",
    { class: "row" },
    confirm({ open: "It holds nothing", action: "Yes, it is empty", about: "Only say so of a new receiver, or of one whose memory was cleared: what it holds and nobody knows of goes on working.", send: () => put(path, { empty: true }), done: after }),
    confirm({
      open: "It holds what a list says",
      action: "Note it",
      about: "A list as CSV in a roster's form: serial, holder and rights such as 1:boat-shed/shutter. It replaces what was known.",
      fields: () => field({ name: "roster", label: "File", kind: "file", required: true, accept: ".csv,text/csv" }),
      async send(_, form) {
        const files = new FormData();
        files.append("roster", form.elements.roster.files[0]);
        await upload(path, files, "PUT");
      },
      done: after,
    }),
  );
}
