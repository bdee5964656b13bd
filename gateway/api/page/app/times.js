// Times as people at the site read them: in the site's zone, wherever the reader is, with the offset where it matters.

import { el } from "./dom.js";

let zone = "UTC";
let forms = make();

/** The site's zone, from the session. */
export function useZone(name) {
  zone = name;
  forms = make();
}

function make() {
  const of = (options) => new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", ...options });
  return {
    clock: of({ hour: "2-digit", minute: "2-digit" }),
    seconds: of({ hour: "2-digit", minute: "2-digit", second: "2-digit" }),
    day: of({ weekday: "short", day: "numeric", month: "short" }),
    dayOfYear: of({ day: "numeric", month: "short", year: "numeric" }),
    iso: of({ year: "numeric", month: "2-digit", day: "2-digit" }),
    full: of({ day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit", second: "2-digit", timeZoneName: "shortOffset" }),
  };
}

const date = (time) => (time instanceof Date ? time : new Date(time));

/** `14:02` */
export const clock = (time) => forms.clock.format(date(time));
/** `14:02:11` */
export const seconds = (time) => forms.seconds.format(date(time));
/** `Mon, 2 Mar` */
export const day = (time) => forms.day.format(date(time));
/** `2 Mar 2026` */
export const dayOfYear = (time) => forms.dayOfYear.format(date(time));
/** `2 Mar 2026, 14:02:11 GMT`, in summer `GMT+1` */
export const full = (time) => forms.full.format(date(time)).replace(/GMT\+0$/, "GMT");
/** `2026-03-02`, the day at the site. */
export const isoDay = (time) => forms.iso.format(date(time)).split("/").reverse().join("-");

/** `14:02` today, `1 Mar, 14:02` else. */
export function moment(time) {
  return isoDay(time) === isoDay(new Date()) ? clock(time) : `${sameYear(time) ? day(time) : dayOfYear(time)}, ${clock(time)}`;
}

const sameYear = (time) => isoDay(time).slice(0, 4) === isoDay(new Date()).slice(0, 4);

/** A length of time in the two units that matter: `3 min 20 s`, `2 h 5 min`, `4 days`. */
export function span(total) {
  const s = Math.round(total);
  if (s < 60) return `${s}\u00a0s`;
  if (s < 3600) return s % 60 ? `${Math.floor(s / 60)}\u00a0min ${s % 60}\u00a0s` : `${s / 60}\u00a0min`;
  if (s < 86_400) {
    const minutes = Math.floor((s % 3600) / 60);
    return `${Math.floor(s / 3600)}\u00a0h${minutes ? ` ${minutes}\u00a0min` : ""}`;
  }
  const days = Math.floor(s / 86_400);
  return days === 1 ? "1 day" : `${days} days`;
}

/** The element for a time: short to read, whole for who points at it and for machines. */
export const timeOf = (time, text = moment(time)) => el("time", { datetime: time, title: full(time) }, text);
