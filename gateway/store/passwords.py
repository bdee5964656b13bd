"""Link passwords that were changed through the gateway: one small file for each receiver, its owner's alone.

Beside the settings' own files, for the gateway must not lose a password that only it knows. The file is synced before
the receiver is asked to change, and holds both the new and the old one until one of them is proven. It is no part of
the database, so that neither a backup nor a snapshot of it carries a password.
"""

from __future__ import annotations

import json
from pathlib import Path

from gateway.errors import StoreUnavailable
from gateway.ports import KeptPasswords
from gateway.store.files import make_private_folder, replace_file

__all__ = ["PasswordFile"]


class PasswordFile:
    """`ports.PasswordMemory` of one receiver, in the folder `passwords` of the gateway's state."""

    def __init__(self, state: Path, receiver: str) -> None:
        self._path = state / "passwords" / receiver
        self._kept = self._read()

    def load(self) -> KeptPasswords | None:
        """What is kept; None when nothing ever was."""
        return self._kept

    def keep(self, passwords: KeptPasswords) -> None:
        """On the disk when this returns. Raises StoreUnavailable, and then nothing was changed."""
        content = json.dumps({"given": passwords.given, "candidates": passwords.candidates}).encode()
        try:
            make_private_folder(self._path.parent)
            replace_file(self._path, content)
        except OSError as fault:
            raise StoreUnavailable(
                f"The link password can't be kept: {fault.strerror}.", remedy="Free space on the card, then try again."
            ) from fault
        self._kept = passwords

    def _read(self) -> KeptPasswords | None:
        """A file that can't be read is as none: the settings' password is tried, and its refusal says what to do."""
        try:
            found = json.loads(self._path.read_bytes())
            return KeptPasswords(str(found["given"]), tuple(map(str, found["candidates"])))
        except (OSError, ValueError, KeyError, TypeError):
            return None
