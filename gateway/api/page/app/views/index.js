// Every view. WAYS are those at the left, by what somebody comes for; the others are reached from them. A view is {path, title, scope, open(query) -> {node, close, query?}};
// docs/page.md tells how to add one.

import { view as access } from "./access.js";
import { view as board } from "./board.js";
import { view as edits } from "./edits.js";
import { view as enrol } from "./enrol.js";
import { view as firstRoster } from "./first-roster.js";
import { view as glance } from "./glance.js";
import { view as groups } from "./groups.js";
import { view as names } from "./names.js";
import { view as noted } from "./noted.js";
import { view as operate } from "./operate.js";
import { view as papers } from "./papers.js";
import { view as people } from "./people.js";
import { view as personAdd } from "./person-add.js";
import { view as revoke } from "./revoke.js";
import { view as roster } from "./roster.js";
import { view as settings } from "./settings.js";
import { view as snapshots } from "./snapshots.js";
import { view as timeline } from "./timeline.js";
import { view as visitSheet } from "./visit-sheet.js";
import { view as why } from "./why.js";
import { view as work } from "./work.js";

export const WAYS = [
  { title: "Gates", views: [glance, timeline, why, noted] },
  { title: "People", views: [people, enrol, revoke, access] },
  { title: "Receivers", views: [roster, settings, snapshots, board] },
  { title: "On site", views: [visitSheet, work, operate, papers] },
];

export const VIEWS = [...WAYS.flatMap((way) => way.views), personAdd, groups, names, firstRoster, edits];
