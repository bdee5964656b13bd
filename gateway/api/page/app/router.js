// Where one is: `#/people?who=berth`. The part behind the question mark is the view's own; a view that changes it with
// `replaceQuery` can be sent to somebody, and the way back works.

/** The view's path and its query, out of the address. */
export function here() {
  const text = location.hash.startsWith("#/") ? location.hash.slice(2) : "";
  const [path, query = ""] = text.split("?");
  return { path, query: Object.fromEntries(new URLSearchParams(query)) };
}

/** The address of a view, for links. */
export function to(path, query = {}) {
  const wanted = Object.entries(query).filter(([, value]) => value !== "" && value !== null && value !== undefined);
  const text = new URLSearchParams(wanted).toString();
  return `#/${path}${text ? `?${text}` : ""}`;
}

/** Say in the address what the view shows now, without leaving a step behind. */
export function replaceQuery(query) {
  history.replaceState(null, "", to(here().path, query));
}

/** Call `tell` at each change of place. Links within the view (`#main`) are no change. */
export function onMove(tell) {
  const listener = () => (location.hash === "" || location.hash.startsWith("#/")) && tell();
  addEventListener("hashchange", listener);
  return () => removeEventListener("hashchange", listener);
}
