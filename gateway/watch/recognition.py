"""Is the receiver that answers the one whose mirror we keep?

Pure. Two things speak against it:

- another serial (or, where a board states none, another maker, product or map);
- the same serial with a lower revision. A receiver never resets its revision, not even by a factory reset, so a
  revision that went back means another memory behind a copied serial, or a memory put back to an older state.
  Neither may be written before somebody has looked, so both are treated as a replaced receiver.

A changed firmware version is neither.
"""

from __future__ import annotations

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Identity, Status

__all__ = [
    "OTHER_SERIAL",
    "REVISION_WENT_BACK",
    "never_read",
    "revision_went_back",
    "same_receiver",
    "strangeness",
    "stranger_words",
]

OTHER_SERIAL = "other-serial"
REVISION_WENT_BACK = "revision-went-back"


def same_receiver(known: Identity, now: Identity) -> bool:
    """True when both say that they are the same receiver."""
    if known.serial or now.serial:
        return known.serial == now.serial and known.map_name == now.map_name
    return (known.maker, known.product, known.map_name) == (now.maker, now.product, now.map_name)


def never_read(mirror: Mirror) -> bool:
    """True for a mirror that says which receiver is meant and holds nothing of it yet."""
    return not mirror.block_crcs and not mirror.slots and mirror.settings is None and mirror.revision == 0


def revision_went_back(mirror: Mirror | None, status: Status) -> bool:
    """True when the receiver states a lower revision than the mirror was proven at."""
    return mirror is not None and status.revision is not None and status.revision < mirror.revision


def strangeness(mirror: Mirror | None, identity: Identity, status: Status) -> str:
    """Why this is not the receiver of the mirror (a stable word), empty when it is or there is no mirror."""
    if mirror is None:
        return ""
    if not same_receiver(mirror.identity, identity):
        return OTHER_SERIAL
    return REVISION_WENT_BACK if revision_went_back(mirror, status) else ""


def stranger_words(mirror: Mirror | None, identity: Identity | None, why: str) -> tuple[str, str]:
    """What has happened and what to do next, for a receiver that answers and is not the known one."""
    name = mirror.receiver if mirror else "RECEIVER"
    answers = identity.serial if identity else ""
    if why == REVISION_WENT_BACK:
        problem = f"What answers as {name} is in an older state than the known one; nothing is written to it."
    else:
        known = mirror.identity.serial if mirror else ""
        serials = f" ({answers or 'without a serial'}, in the place of {known})" if known else ""
        problem = f"Another receiver answers{serials}; nothing is written to it."
    remedy = (
        f"If it is the right one: `gatepost snapshot restore SNAPSHOT --receiver {name} --replacement` fills it with "
        f"what the old one held, `gatepost snapshot approve {name} --replacement {answers or 'SERIAL'}` takes it as it "
        "is. Else put the known one back."
    )
    return problem, remedy
