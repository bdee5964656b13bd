// Who is signed in, and what they may do. Filled by main.js before any view is built.

let found = null;

export const begin = (session) => (found = session);
export const end = () => (found = null);
export const who = () => found;

/** Whether one of the token's scopes lets this be done: `view`, `roster`, `operate`, `admin`. */
export const may = (scope) => Boolean(found?.scopes.includes(scope));
