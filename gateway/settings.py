"""The settings file: one TOML file, read once, strict, frozen.

Only the start (`cli`, `daemon`) sees these models; every other room gets plain values. Secrets never stand in
the file: it names other files or systemd credentials (`credential:NAME`). Every fault is told in one pass
with the line it stands on, the key, and what to write.
"""

from __future__ import annotations

import codecs
import re
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from gateway.domain.drift import DriftPolicy
from gateway.domain.operation import names_a_stop
from gateway.errors import SettingsFault
from gateway.gate_settings import ConditionSettings, GateSettings, InputsMixin, check_gates
from gateway.outlet_settings import OutletSettings, check_outlets, plain_fault
from gateway.settings_faults import tell_fault

__all__ = [
    "ApiSettings",
    "GatewaySettings",
    "LineSettings",
    "ReceiverSettings",
    "RosterSettings",
    "Settings",
    "SnapshotSettings",
    "load_settings",
    "parse_settings",
]

DEFAULT_PATH = Path("/etc/gatepost/gatepost.toml")
_NAME = r"^[a-z0-9][a-z0-9-]{0,31}$"
_Name = Annotated[str, Field(pattern=_NAME)]
_Drift = Literal["report", "remove", "adopt"]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class GatewaySettings(_Strict):
    """The site: its name as rosters write it, its time zone, and where the gateway keeps its own memory."""

    site: _Name
    time_zone: str = "UTC"
    state: Path = Path("/var/lib/gatepost")
    clock: Literal["auto", "trusted", "untrusted"] = "auto"
    keep_heard_days: Annotated[int, Field(ge=1, le=3650)] = 90
    keep_history_days: Annotated[int, Field(ge=30, le=3650)] = 730
    receipt_key_file: str | None = None

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, zone: str) -> str:
        try:
            ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError) as fault:
            raise ValueError("not a time zone of the tz database; write for example Europe/Berlin") from fault
        return zone


class ApiSettings(_Strict):
    """Where the API listens. Other than loopback needs TLS or an explicit `behind_proxy`."""

    listen: str = "127.0.0.1:8470"
    socket: Path | None = Path("/run/gatepost/api.sock")
    hosts: tuple[str, ...] = ()
    tls_certificate: Path | None = None
    tls_key: Path | None = None
    behind_proxy: bool = False
    connections: Annotated[int, Field(ge=4, le=1000)] = 128
    streams: Annotated[int, Field(ge=1, le=500)] = 60
    requests_per_minute: Annotated[int, Field(ge=60, le=10_000_000)] = 1200

    @property
    def host_and_port(self) -> tuple[str, int]:
        """`listen`, taken apart."""
        host, _, port = self.listen.rpartition(":")
        return host.strip("[]"), int(port)

    @model_validator(mode="after")
    def _closed_door(self) -> Self:
        host, colon, port = self.listen.rpartition(":")
        if not colon or not port.isdigit() or not 0 <= int(port) <= 65_535 or not host:
            raise ValueError("listen must be HOST:PORT, for example 127.0.0.1:8470")
        if (self.tls_certificate is None) != (self.tls_key is None):
            raise ValueError("tls_certificate and tls_key belong together; write both or none")
        loopback = host.strip("[]") in ("127.0.0.1", "::1", "localhost")
        if not loopback and self.tls_certificate is None and not self.behind_proxy:
            raise ValueError(
                "an address other than loopback needs tls_certificate and tls_key, "
                "or behind_proxy = true when a proxy on this machine ends TLS"
            )
        return self


class LineSettings(_Strict):
    """One serial port. Use a path that stays the same when the adapter moves, below /dev/serial/by-id."""

    port: Annotated[str, Field(min_length=1)]
    baud: Annotated[int, Field(ge=300, le=4_000_000)] = 19_200
    parity: Literal["N", "E", "O"] = "N"
    stop_bits: Literal[1, 2] = 1
    rs485: Literal["off", "adapter", "kernel"] = "off"
    echo: bool = False
    tries: Annotated[int, Field(ge=1, le=10)] = 3


_WIRED_KEYS = (
    "line", "address", "map", "driver", "polls_per_second", "link_password_file", "operate", "drift", "inputs",
)  # fmt: skip
_MANUAL_KEYS = ("slots", "positions", "output_count")


class ReceiverSettings(InputsMixin):
    """One receiver on a line: its address, its map, and the names that people give its outputs and inputs.

    Of kind `manual` no line reaches it: what it has room for is stated here, and a person carries out its plans.
    """

    kind: Literal["wired", "manual"] = "wired"
    line: _Name = ""
    slots: Annotated[int, Field(ge=1, le=65_535)] | None = None
    positions: Annotated[int, Field(ge=1, le=8)] = 8
    output_count: Annotated[int, Field(ge=1, le=64)] | None = None
    address: Annotated[int, Field(ge=1, le=247)] = 1
    map: str = "reference"
    driver: str = "register-map"
    polls_per_second: Annotated[float, Field(gt=0, le=20)] = 5.0
    link_password_file: str | None = None
    outputs: dict[str, str] = Field(default_factory=dict)
    operate: tuple[str, ...] = ()
    drift: _Drift | None = None

    @field_validator("outputs", "inputs")
    @classmethod
    def _numbered(cls, named: dict[str, Any]) -> dict[str, Any]:
        wrong = [number for number in named if not (number.isdigit() and 1 <= int(number) <= 64)]
        if wrong:
            raise ValueError(f'“{wrong[0]}” is not a number; write for example outputs = {{ 1 = "gate" }}')
        names = [each if isinstance(each, str) else each.name for each in named.values()]
        folded = [name.casefold() for name in names if name]
        if len(set(folded)) != len(folded):
            raise ValueError("two of them have the same name; give each its own")
        return named

    @field_validator("outputs")
    @classmethod
    def _writable_in_rosters(cls, names: dict[str, str]) -> dict[str, str]:
        wrong = [name for name in names.values() if not re.fullmatch(r"[^\s:/,;]{1,32}", name)]
        if wrong:
            raise ValueError(
                f"“{wrong[0]}” can't be written in a roster; use 1 to 32 characters without blanks and without : / , ;"
            )
        return names

    @property
    def output_names(self) -> dict[int, str]:
        """Names of outputs by number."""
        return {int(number): name for number, name in self.outputs.items()}

    @property
    def by_hand(self) -> bool:
        """Whether no line reaches it."""
        return self.kind == "manual"

    @model_validator(mode="after")
    def _keys_of_its_kind(self) -> Self:
        if not self.by_hand:
            if not self.line:
                raise ValueError('line is needed: the line that it is on; or kind = "manual" when no line reaches it')
            if wrong := [key for key in _MANUAL_KEYS if key in self.model_fields_set]:
                raise ValueError(f'{wrong[0]} is for kind = "manual"; a receiver on a line states it itself')
            return self
        if wrong := [key for key in _WIRED_KEYS if key in self.model_fields_set]:
            raise ValueError(f'{wrong[0]} needs a line, and kind = "manual" has none; take one of the two out')
        if self.slots is None:
            raise ValueError('slots is needed with kind = "manual": how many transmitters it has room for')
        highest = max(self.output_names, default=0)
        if not highest and self.output_count is None:
            raise ValueError('outputs is needed with kind = "manual", for example outputs = { 1 = "gate" }')
        if self.output_count is not None and highest > self.output_count:
            raise ValueError(f"output_count is {self.output_count}, but output {highest} has a name; correct one")
        return self

    @model_validator(mode="after")
    def _operated_outputs_exist(self) -> Self:
        named = {name.casefold() for name in self.outputs.values()}
        if wrong := [name for name in self.operate if name.casefold() not in named]:
            raise ValueError(f"operate: there is no output named “{wrong[0]}”; name it under outputs first")
        if stops := [name for name in self.operate if names_a_stop(name)]:
            raise ValueError(
                f"operate: “{stops[0]}” is named after a stop, and that is never operated from afar; take it out: "
                "an emergency stop works at the gate alone, without Gatepost"
            )
        return self


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


class RosterSettings(_Strict):
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
    drift: _Drift | None = None
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

    @model_validator(mode="after")
    def _keys_where_needed(self) -> Self:
        if not self.public_keys and (self.signature == "required" or self.revocations is not None):
            what = 'signature = "required"' if self.signature == "required" else "a revocation list"
            raise ValueError(f"{what} needs public_keys: the second line of minisign's .pub file")
        if self.public_keys and self.signature == "off" and self.revocations is None:
            raise ValueError('public_keys are given and nothing is checked; write signature = "required"')
        return self

    @model_validator(mode="after")
    def _one_word_for_drift(self) -> Self:
        if self.unknown is not None and self.drift is not None:
            raise ValueError("unknown is the older name of drift; keep drift alone")
        return self

    @model_validator(mode="after")
    def _one_timetable(self) -> Self:
        if self.schedule is not None and self.every_minutes is not None:
            raise ValueError("schedule and every_minutes exclude each other; keep one")
        return self

    @model_validator(mode="after")
    def _kept_here_alone(self) -> Self:
        if self.local:
            odd = [name for name in ("groups", "credentials_file", "ca_file") if getattr(self, name) is not None]
            odd += ["signature"] if self.signature == "required" else []
            if odd:
                raise ValueError(
                    f"with source = \"local\" the gateway keeps roster and groups itself; leave out {', '.join(odd)}, "
                    "or write a path such as ./local if a file is meant"
                )
        return self

    @property
    def local(self) -> bool:
        """Whether the gateway keeps the roster itself."""
        return self.source == "local"

    @property
    def remote(self) -> bool:
        """Whether the source is an address, not a path."""
        return self.source.startswith(("http://", "https://"))


class SnapshotSettings(_Strict):
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


class Settings(_Strict):
    """The whole file."""

    gateway: GatewaySettings
    api: ApiSettings = ApiSettings()
    lines: dict[_Name, LineSettings] = {}
    receivers: Annotated[dict[_Name, ReceiverSettings], Field(min_length=1)]
    gates: dict[_Name, GateSettings] = {}
    conditions: ConditionSettings = ConditionSettings()
    roster: RosterSettings | None = None
    snapshots: SnapshotSettings = SnapshotSettings()
    outlets: dict[_Name, OutletSettings] = {}

    @model_validator(mode="after")
    def _wired(self) -> Self:
        places: dict[tuple[str, int], str] = {}
        for name, receiver in self.receivers.items():
            if receiver.by_hand:
                continue
            if receiver.line not in self.lines:
                known = ", ".join(sorted(self.lines)) or "none"
                raise ValueError(f"receivers.{name}.line: there is no line “{receiver.line}”; lines are: {known}")
            place = (receiver.line, receiver.address)
            if place in places:
                raise ValueError(
                    f"receivers.{name}: address {receiver.address} on line {receiver.line} "
                    f"already belongs to {places[place]}; give each receiver its own"
                )
            places[place] = name
        ports: dict[str, str] = {}
        for name, line in self.lines.items():
            if line.port in ports:
                raise ValueError(f"lines.{name}.port: {line.port} already belongs to line {ports[line.port]}")
            ports[line.port] = name
        check_gates(self.gates, self.receivers)
        check_outlets(self.outlets, self.receivers)
        return self

    @property
    def drift(self) -> dict[str, DriftPolicy]:
        """By receiver, what becomes of what other hands have changed there: its own word, else the site's."""
        site = (self.roster.drift or self.roster.unknown) if self.roster else None
        words = {name: receiver.drift or site or DriftPolicy.REMOVE for name, receiver in self.receivers.items()}
        return {name: DriftPolicy(word) for name, word in words.items()}

    @model_validator(mode="after")
    def _forgotten_before_judged(self) -> Self:
        unused, kept = self.conditions.unused_days, self.gateway.keep_heard_days
        if unused is not None and unused > kept:
            raise ValueError(
                f"conditions.unused_days is {unused}, but presses are kept for {kept} days (gateway.keep_heard_days); "
                "ask for no more days than are kept"
            )
        return self


def load_settings(path: Path) -> Settings:
    """Read and check a settings file. Raises SettingsFault."""
    try:
        text = path.read_text("utf-8")
    except UnicodeDecodeError as fault:
        raise SettingsFault(f"{path} is not UTF-8 text.", remedy="Save it as UTF-8.") from fault
    except OSError as fault:
        raise SettingsFault(
            f"The settings file {path} can't be read: {fault.strerror}.",
            remedy="Name another one with --config, or write it; docs/settings.md shows a whole one.",
        ) from fault
    return parse_settings(text, str(path))


def parse_settings(text: str, name: str) -> Settings:
    """Check the text of a settings file. Raises SettingsFault with every fault, each with its line."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise SettingsFault(f"{name} is not valid TOML: {fault}.", remedy="Mend that line.") from fault
    try:
        return Settings.model_validate(raw)
    except ValidationError as fault:
        places = [tell_fault(text, plain_fault(error), Settings) for error in fault.errors()]
        count = "one fault" if len(places) == 1 else f"{len(places)} faults"
        raise SettingsFault(
            f"{name} has {count}:\n" + "\n".join(f"  {place}" for place in places),
            remedy="Nothing was started or changed. docs/settings.md lists every key.",
        ) from fault
