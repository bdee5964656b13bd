"""Builds what edits the roster that this gateway keeps itself, and what makes a first roster from the receivers."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.daemon.ground import Ground
from gateway.daemon.syncing import Rosters, Syncing
from gateway.roster.editing import FileEditor
from gateway.sync.first_rosters import FirstRosterDesk
from gateway.sync.own_roster import OwnRosterDesk

__all__ = ["PeopleDesks", "build_people"]


@dataclass(frozen=True, slots=True)
class PeopleDesks:
    """The desks behind `people` that change something."""

    own: OwnRosterDesk
    first: FirstRosterDesk


def build_people(ground: Ground, rosters: Rosters, syncing: Syncing) -> PeopleDesks:
    parts, roster = ground.parts, ground.settings.roster
    editor = FileEditor(roster.encoding if roster else None)
    own = OwnRosterDesk(
        kept=parts.kept_rosters, editor=editor, reader=parts.reader, rosters=rosters.keeper,
        archive=ground.store.roster_files, receivers=parts.facts, clock=ground.clock,
        zone=parts.zone,
    )  # fmt: skip
    first = FirstRosterDesk(site=syncing.site, keeper=syncing.keeper, editor=editor, reader=parts.reader, own=own)
    return PeopleDesks(own, first)
