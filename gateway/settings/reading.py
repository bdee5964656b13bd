"""Reading the file: every fault in one pass, with its line and what to write."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from pathlib import Path

from pydantic import ValidationError

from gateway.errors import SettingsFault
from gateway.settings.faults import Told, tell_faults, tell_misfit
from gateway.settings.outlets import plain_fault
from gateway.settings.rules import misfits
from gateway.settings.tables import good_tables
from gateway.settings.whole import Settings

__all__ = ["load_settings", "parse_settings"]


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
    told = [tell_misfit(text, misfit) for misfit in misfits(good_tables(raw))]
    try:
        settings = Settings.model_validate(raw)
    except ValidationError as fault:
        told += [each for error in fault.errors() for each in tell_faults(text, plain_fault(error), Settings)]
        raise _fault(name, told) from fault
    if told:
        raise _fault(name, told)
    return settings


def _fault(name: str, told: Iterable[Told]) -> SettingsFault:
    """All of it in the order of the file."""
    places = [each.sentence for each in sorted(told, key=lambda each: each.line)]
    count = "one fault" if len(places) == 1 else f"{len(places)} faults"
    return SettingsFault(
        f"{name} has {count}:\n" + "\n".join(f"  {place}" for place in places),
        remedy="Nothing was started or changed. docs/settings.md lists every key.",
    )
