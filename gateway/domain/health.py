"""Whether the gateway works, for whoever restarts it (live) and for whoever relies on it (ready)."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Health"]


@dataclass(frozen=True, slots=True)
class Health:
    """`stuck` names the workers that make no progress: a restart may help. `lacking` names what is missing though
    everything runs: `journal` (it can't be written), `lines` (there are some and none is open): a restart won't help.
    """

    stuck: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()

    @property
    def live(self) -> bool:
        """Every worker makes progress."""
        return not self.stuck

    @property
    def ready(self) -> bool:
        """It does what it is there for."""
        return self.live and not self.lacking
