// Asking the gateway. Whatever goes wrong comes out as a Problem with a sentence and a remedy; a session that has
// ended is told to whoever set `whenSignedOut`. The session's cookie is sent by the browser; no script can read it.

const ROOT = "/api/v1";
const READ_MS = 15_000;
const WRITE_MS = 90_000; // a receiver may be slow, and a line busy

/** What went wrong: `code` is stable (docs/api.md), `places` are single wrong fields. */
export class Problem extends Error {
  constructor({ code, status = 0, title = "", detail = "", remedy = "", places = [] }) {
    super(detail || title);
    Object.assign(this, { code, status, title, detail, remedy, places });
  }
}

let signedOut = () => {};

/** Who is told when an answer says that nobody is signed in. */
export function whenSignedOut(tell) {
  signedOut = tell;
}

/** The body at a path. `query` values that are empty are left out; lists are repeated. */
export async function get(path, query = {}, { signal } = {}) {
  return (await ask("GET", path + search(query), { signal })).body;
}

/** Body and tag, for a change that must say what it starts from. */
export async function getTagged(path) {
  const { body, tag } = await ask("GET", path, { cache: "no-store" });
  return { body, tag };
}

/** `key` makes a repeated POST happen once; `newKey()` when the person begins, the same one when they try again. */
export const post = (path, body, { key } = {}) => ask("POST", path, { body, headers: key ? { "Idempotency-Key": key } : {} });
export const patch = (path, body, tag) => ask("PATCH", path, { body, headers: tag ? { "If-Match": tag } : {} });
export const put = (path, body, tag) => ask("PUT", path, { body, headers: tag ? { "If-Match": tag } : {} });
export const remove = (path, query = {}, tag = "") => ask("DELETE", path + search(query), { headers: tag ? { "If-Match": tag } : {} });

/** Files as a form. */
export const upload = (path, form, method = "POST") => ask(method, path, { form });

/** Sign in: the token goes into a header this once. */
export const signIn = (token) => ask("POST", "/session", { headers: { Authorization: `Bearer ${token}` }, quiet: true });

/** The address of something the browser itself loads (a download). */
export const address = (path, query = {}) => ROOT + path + search(query);

export const newKey = () => crypto.randomUUID?.() ?? [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");

/** A stream of bytes, for stream.js. */
export async function open(path, query, signal) {
  const answer = await send("GET", path + search(query), { signal, headers: { Accept: "text/event-stream" } });
  if (!answer.ok) throw await problemOf(answer);
  return answer;
}

export function search(query) {
  const found = new URLSearchParams();
  for (const [name, value] of Object.entries(query)) {
    for (const each of Array.isArray(value) ? value : [value]) {
      if (each !== null && each !== undefined && each !== "") found.append(name, each);
    }
  }
  const text = found.toString();
  return text ? `?${text}` : "";
}

async function ask(method, path, { body, form, headers = {}, signal, cache, quiet = false }) {
  const limit = AbortSignal.timeout(method === "GET" ? READ_MS : WRITE_MS);
  const options = { headers: { ...headers }, signal: signal ? AbortSignal.any([signal, limit]) : limit, cache };
  if (form) options.body = form;
  else if (body !== undefined) {
    options.body = JSON.stringify(body);
    options.headers["Content-Type"] = "application/json";
  }
  const answer = await send(method, path, options);
  if (!answer.ok) {
    const problem = await problemOf(answer);
    if (answer.status === 401 && !quiet) signedOut(problem);
    throw problem;
  }
  const kind = answer.headers.get("Content-Type") ?? "";
  return {
    status: answer.status,
    tag: answer.headers.get("ETag"),
    location: answer.headers.get("Location"),
    body: kind.includes("json") ? await answer.json() : null,
  };
}

async function send(method, path, options) {
  try {
    return await fetch(ROOT + path, { ...options, method, headers: { "X-Gatepost-Page": "1", ...options.headers }, credentials: "same-origin", redirect: "error" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Problem({
      code: "unreachable",
      title: "The gateway can't be reached",
      detail: error.name === "TimeoutError" ? "The gateway did not answer in time." : "The gateway can't be reached from here.",
      remedy: "Look whether this device is on the network, and whether the gateway has power. The page tries again by itself.",
    });
  }
}

async function problemOf(answer) {
  const body = await answer.json().catch(() => ({}));
  return new Problem({
    code: String(body.type ?? "").replace("urn:gatepost:problem:", "") || `status-${answer.status}`,
    status: answer.status,
    title: body.title ?? `The gateway answered with ${answer.status}`,
    detail: body.detail ?? "",
    remedy: body.remedy ?? "",
    places: body.errors ?? [],
  });
}
