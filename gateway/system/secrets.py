"""Secret files: link password, certificates' keys, webhook and broker secrets.

A secret stands in a file of its own that only the gateway's user can read, or comes as a credential of the service
manager (systemd.exec(5), LoadCredential=): the settings then name it `credential:NAME`. No error ever shows content.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Mapping
from pathlib import Path

from gateway.errors import SettingsFault

__all__ = ["CREDENTIAL", "read_secret"]

CREDENTIAL = "credential:"
_GROUP_AND_OTHERS = 0o077
_OTHERS = 0o007  # a credential's own ACL for the service's user shows as group bits; its folder is closed to the rest
_NAME = re.compile(r"[A-Za-z0-9_.-]+")
_LARGEST_BYTES = 64 * 1024  # our choice: a certificate chain fits, a wrong path to something huge does not


def read_secret(place: str, environment: Mapping[str, str] = os.environ) -> str:
    """The text of a secret file, without one line feed at its end.

    `place` is a path or `credential:NAME`. Raises SettingsFault when it is missing, empty, no text, or may be read by
    others, with the command that puts it right.
    """
    credential = place.startswith(CREDENTIAL)
    path = _credential(place.removeprefix(CREDENTIAL), environment) if credential else Path(place)
    try:
        text = _read(path, forbidden=_OTHERS if credential else _GROUP_AND_OTHERS).decode("utf-8")
    except FileNotFoundError as fault:
        raise SettingsFault(f"The secret file {path} is missing.", remedy="Create it, or correct the path.") from fault
    except UnicodeDecodeError:
        raise SettingsFault(
            f"The secret file {path} is no text in UTF-8.", remedy="Write the secret as text, on one line."
        ) from None  # the fault would show what stands there
    except OSError as fault:
        raise SettingsFault(
            f"The secret file {path} can't be read ({fault.strerror}).",
            remedy=f"Give it to the gateway's user: chown gatepost {path}",
        ) from fault
    text = text.removesuffix("\n").removesuffix("\r")
    if not text:
        raise SettingsFault(f"The secret file {path} is empty.", remedy="Write the secret into it, on one line.")
    return text


def _credential(name: str, environment: Mapping[str, str]) -> Path:
    folder = environment.get("CREDENTIALS_DIRECTORY")
    if not _NAME.fullmatch(name) or name in (".", ".."):
        raise SettingsFault(
            f"{name!r} can't be the name of a credential.", remedy="Use letters, digits, dots, hyphens, underscores."
        )
    if not folder:
        raise SettingsFault(
            f"The credential {name} is not there: the service manager gave none.",
            remedy=f"Add LoadCredential={name}:/path/of/the/secret to the unit, or name a file instead.",
        )
    return Path(folder) / name


def _read(path: Path, forbidden: int) -> bytes:
    descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
    try:
        found = os.fstat(descriptor)
        if not stat.S_ISREG(found.st_mode):
            raise SettingsFault(f"The secret file {path} is no file.", remedy="Name a file that holds the secret.")
        if found.st_mode & forbidden:
            raise SettingsFault(
                f"The secret file {path} can be read or written by others (mode {stat.S_IMODE(found.st_mode):04o}).",
                remedy=f"Run: chmod 600 {path}",
            )
        content = os.read(descriptor, _LARGEST_BYTES + 1)
    finally:
        os.close(descriptor)
    if len(content) > _LARGEST_BYTES:
        raise SettingsFault(
            f"The secret file {path} is larger than {_LARGEST_BYTES} bytes.",
            remedy="Name a file with the secret alone.",
        )
    return content
