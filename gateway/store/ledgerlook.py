"""What outputs are called, read off a ledger that stays as it is: for a check while the daemon doesn't run.

Nothing is opened for writing, mended or set aside; whatever can't be read counts as not there.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from gateway.domain.output_names import OutputNaming
from gateway.store.codec import CodecFault, decode
from gateway.store.ledgerlines import read_lines

__all__ = ["look_at_namings"]


def look_at_namings(folder: Path) -> Iterator[OutputNaming]:
    """Every naming in the ledger of a state folder, oldest first: of one receiver the last one counts."""
    try:
        entries = read_lines((folder / "ledger").read_bytes()).entries
    except OSError:
        return
    for entry in entries:
        if entry.get("type") == "outputs-named":
            with contextlib.suppress(CodecFault):
                yield decode(OutputNaming, entry)
