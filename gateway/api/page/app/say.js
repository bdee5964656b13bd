// Saying things to who can't see them appear: once, politely; at once only where somebody must act.

/** What has changed, after the reader has finished their sentence. */
export const politely = (text) => tell("said-politely", text);

/** What needs somebody now. */
export const atOnce = (text) => tell("said-at-once", text);

function tell(id, text) {
  const place = document.getElementById(id);
  place.textContent = "";
  setTimeout(() => (place.textContent = text), 50); // the same sentence twice is still told twice
}
