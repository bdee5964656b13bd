// The start: who is signed in decides between the door and the frame.

import { get, Problem, remove, signIn, whenSignedOut } from "./api.js";
import { el, fill } from "./dom.js";
import { frame } from "./frame.js";
import { field, form } from "./parts/form.js";
import { failed } from "./parts/notice.js";
import * as session from "./session.js";
import * as store from "./store.js";
import { useZone } from "./times.js";
import { DEVICE_NOTE } from "./words.js";

const place = document.getElementById("app");
let takeDown = null;

document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  document.getElementById("main").focus();
});
whenSignedOut((problem) => leave(problem));
begin();

async function begin() {
  const token = tokenOfLink();
  try {
    enter(token ? (await signIn(token).catch(atTheDoor)).body : await get("/session"));
  } catch (problem) {
    if (problem.code === "unreachable") fill(place, el("main", { id: "main", class: "door", tabindex: "-1" }, el("h1", {}, "Gatepost"), failed(problem, begin)));
    else showDoor(token || problem.code === "session-ended" ? problem : null);
  }
}

// A link with `#sign-in=` (from a command on the board) signs in at once. What stands behind the # is never sent to any
// server, and it is taken out of the address and the history before anything else happens.
function tokenOfLink() {
  const found = /^#sign-in=([\w.~+/-]+=*)$/.exec(location.hash);
  if (!found) return "";
  history.replaceState(null, "", "#/");
  return found[1];
}

function enter(found) {
  session.begin(found);
  useZone(found.time_zone);
  store.start(leave);
  takeDown = frame(place, { signOut });
}

async function signOut() {
  try {
    await remove("/session");
  } finally {
    leave(null);
  }
}

function leave(problem) {
  if (takeDown) takeDown();
  takeDown = null;
  store.stop();
  session.end();
  showDoor(problem);
}

/** What the gateway tells programs about a wrong token helps nobody at this door. */
function atTheDoor(problem) {
  if (problem.code === "token-invalid" || problem.code === "request-malformed") {
    throw new Problem({ ...problem, detail: "This token is not known here; it may have been removed.", remedy: "Look whether all of it was pasted, or ask whoever looks after the gateway for a new one (gatepost token add)." });
  }
  throw problem;
}

function showDoor(problem) {
  document.title = "Sign in, Gatepost";
  const node = form({
    fields: [
      el("input", { type: "text", name: "username", autocomplete: "username", value: "gatepost", hidden: true, readOnly: true }),
      field({ name: "token", label: "Token", kind: "password", required: true, autocomplete: "current-password", spellcheck: "false", hint: "Whoever looks after the gateway makes one: gatepost token add." }),
    ],
    action: "Sign in",
    async send({ token }) {
      enter((await signIn(token).catch(atTheDoor)).body);
      place.querySelector("h1").focus();
    },
  });
  fill(
    place,
    el(
      "main",
      { id: "main", class: "door", tabindex: "-1" },
      el("h1", {}, "Sign in"),
      problem && failed(problem),
      el("div", { class: "sheet" }, node),
      el("p", { class: "small quiet" }, DEVICE_NOTE),
    ),
  );
  place.querySelector("[name=token]").focus();
}
