"""The central file, and when receivers are archived."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import Field, field_validator

from gateway.errors import SettingsFault
from gateway.settings.base import DriftWord, Strict

__all__ = ["RosterSettings", "SnapshotSettings"]


def _check_schedule(expression: str) -> str:
    """Raises ValueError when the timetable would refuse it."""
    from gateway.sync.wall_clock_cron import WallClockCron  # noqa: PLC0415 - slow to load, and few commands need it

    try:
        WallClockCron(expression, ZoneInfo("UTC"))
    except SettingsFault as fault:
        raise ValueError(
            f"{fault.message.removesuffix('.')}; write minute, hour, day, month and weekday by name, "
            'such as "30 2 * * mon-fri"'
        ) from fault
    return expression


class RosterSettings(Strict):
    """The central file and when it is fetched; with the source `local` the gateway keeps the roster itself.

    `schedule` is cron's five fields in the site's zone (weekdays by name), `every_minutes` an interval; one of
    them, or none for by hand only. `spread_s` delays each run by a random part of it, so that many sites do not
    ask at once. `drift` is what becomes of what other hands have put into a receiver (`unknown` is its older name).
    `public_keys` are minisign's; the revocation list is always signed, the roster where `signature`
    requires it.
    """

    source: str
    groups: str | None = None
    schedule: str | None = None
    every_minutes: Annotated[int, Field(ge=1, le=1440)] | None = None
    spread_s: Annotated[int, Field(ge=0, le=3600)] = 60
    drift: DriftWord | None = None
    unknown: Literal["remove", "report"] | None = None
    encoding: str | None = None
    credentials: Literal["bearer", "basic"] = "bearer"
    credentials_file: str | None = None
    ca_file: Path | None = None
    allow_plain_http: bool = False
    allow_private: bool = False
    allow_loopback: bool = False
    signature: Literal["off", "required"] = "off"
    public_keys: tuple[str, ...] = ()
    revocations: str | None = None

    @field_validator("schedule")
    @classmethod
    def _readable_schedule(cls, schedule: str | None) -> str | None:
        return None if schedule is None else _check_schedule(schedule)

    @field_validator("encoding")
    @classmethod
    def _known_encoding(cls, encoding: str | None) -> str | None:
        try:
            codecs.lookup(encoding or "utf-8")
        except LookupError as fault:
            raise ValueError(f"“{encoding}” is no text encoding; write for example cp1252") from fault
        return encoding

    def _misfits(self) -> Iterator[str]:
        if not self.public_keys:
            remedy = "needs public_keys: the second line of minisign's .pub file"
            if self.signature == "required":
                yield f'signature: "required" {remedy}'
            elif self.revocations is not None:
                yield f"revocations: a revocation list {remedy}"
        elif self.signature == "off" and self.revocations is None:
            yield 'public_keys are given and nothing is checked; write signature = "required"'
        if self.unknown is not None and self.drift is not None:
            yield "unknown is the older name of drift; keep drift alone"
        if self.schedule is not None and self.every_minutes is not None:
            yield "schedule and every_minutes exclude each other; keep one"
        if self.local and (odd := self._of_a_file):
            yield (
                f'source: with "local" the gateway keeps roster and groups itself; leave out {", ".join(odd)}, '
                "or write a path such as ./local if a file is meant"
            )

    @property
    def _of_a_file(self) -> list[str]:
        """The keys in use that say how a file is fetched."""
        odd = [name for name in ("groups", "credentials_file", "ca_file") if getattr(self, name) is not None]
        return odd + (["signature"] if self.signature == "required" else [])

    @property
    def local(self) -> bool:
        """Whether the gateway keeps the roster itself."""
        return self.source == "local"

    @property
    def remote(self) -> bool:
        """Whether the source is an address, not a path."""
        return self.source.startswith(("http://", "https://"))


class SnapshotSettings(Strict):
    """When receivers are archived by themselves, and which of their snapshots stay.

    `schedule` is cron's five fields in the site's zone, or `off`. Of each receiver the last `keep_last` stay, and the
    newest of each month for `keep_months` months.
    """

    schedule: str = "15 4 * * *"
    keep_last: Annotated[int, Field(ge=1, le=1000)] = 20
    keep_months: Annotated[int, Field(ge=0, le=120)] = 24

    @field_validator("schedule")
    @classmethod
    def _readable_schedule(cls, schedule: str) -> str:
        return schedule if schedule == "off" else _check_schedule(schedule)
