"""Reading the file: every fault in one pass, with its line and what to write."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import ValidationError

from gateway.errors import SettingsFault
from gateway.settings.faults import tell_fault
from gateway.settings.outlets import plain_fault
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
    try:
        return Settings.model_validate(raw)
    except ValidationError as fault:
        places = [tell_fault(text, plain_fault(error), Settings) for error in fault.errors()]
        count = "one fault" if len(places) == 1 else f"{len(places)} faults"
        raise SettingsFault(
            f"{name} has {count}:\n" + "\n".join(f"  {place}" for place in places),
            remedy="Nothing was started or changed. docs/settings.md lists every key.",
        ) from fault
