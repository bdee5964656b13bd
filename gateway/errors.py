"""The one tree of errors.

Every error says what happened and what to do next (`remedy`), and carries a stable `code` that the API
turns into a problem type and the command line into an exit code. Bases are never raised themselves.

::

    GatepostError
    ├── LocalError                 what we were asked for is wrong (exit 1; settings and maps: exit 2)
    │   ├── SettingsFault          the settings file; names file, key and what to write
    │   ├── MapFault               a map file; names file, field and what to write
    │   ├── SourceRefused          a roster was fetched and is not acceptable
    │   ├── NotFound               nothing of that name
    │   ├── Refused                a rule says no; `code` says which
    │   └── Unsupported            the receiver's map lacks the capability
    ├── PeerError                  the other side answered, and the answer is a no or is wrong
    │   ├── ReceiverException      a Modbus exception code
    │   ├── ReceiverRefused        the receiver's own refusal (password, slot changed, busy)
    │   ├── WrongAnswer            an answer that is well formed and not to the question
    │   ├── WrongReceiver          another receiver, or another map, than expected
    │   └── NotProven              a write was answered and the memory does not hold it
    ├── LineError                  the line failed and may recover (exit 3)
    │   ├── PortUnavailable        missing, denied or held by another program
    │   ├── LinkLost               the adapter went away with a request under way
    │   ├── NoAnswer               silence for the whole of the answer time, after all tries
    │   └── BrokenAnswer           only damaged frames came, after all tries
    ├── StoreError                 the gateway's own memory
    │   ├── StoreUnavailable       disk full, read-only or failing: nothing was acknowledged
    │   ├── StoreDamaged           the database can't be read
    │   └── StoreTooNew            written by a newer program
    └── SourceError                the roster source can't be reached (exit 3)
        └── SourceUnreachable
"""

from __future__ import annotations

__all__ = [
    "BrokenAnswer",
    "GatepostError",
    "LineError",
    "LinkLost",
    "LocalError",
    "MapFault",
    "NoAnswer",
    "NotFound",
    "NotProven",
    "PeerError",
    "PortUnavailable",
    "ReceiverException",
    "ReceiverRefused",
    "Refused",
    "SettingsFault",
    "SourceError",
    "SourceRefused",
    "SourceUnreachable",
    "StoreDamaged",
    "StoreError",
    "StoreTooNew",
    "StoreUnavailable",
    "Unsupported",
    "WrongAnswer",
    "WrongReceiver",
]


class GatepostError(Exception):
    """Base of all. `message` is one sentence, `remedy` says what to do next, `code` is stable kebab-case."""

    code = "error"

    def __init__(self, message: str, *, remedy: str = "", code: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy
        if code is not None:
            self.code = code

    def __str__(self) -> str:
        return f"{self.message} {self.remedy}".strip()


class LocalError(GatepostError):
    """What we were asked for is wrong."""


class SettingsFault(LocalError):
    """The settings file is missing, unreadable or wrong."""

    code = "settings-fault"


class MapFault(LocalError):
    """A map file is missing, unreadable or wrong."""

    code = "map-fault"


class SourceRefused(LocalError):
    """A roster was fetched and is not acceptable; the last good one stays in force."""

    code = "roster-refused"


class NotFound(LocalError):
    """Nothing of that name or number exists."""

    code = "not-found"


class Refused(LocalError):
    """A rule of ours says no. `code` says which."""

    code = "refused"


class Unsupported(LocalError):
    """This receiver's map has no such capability."""

    code = "unsupported"


class PeerError(GatepostError):
    """The other side answered with a no, or with something wrong."""


class ReceiverException(PeerError):
    """A Modbus exception. `function` is the request's function code, `exception` the code (V1.1b3, section 7)."""

    code = "receiver-exception"

    def __init__(self, message: str, *, function: int, exception: int, remedy: str = "") -> None:
        super().__init__(message, remedy=remedy)
        self.function = function
        self.exception = exception


class ReceiverRefused(PeerError):
    """The receiver said why it refused: `code` is `password-refused`, `locked`, `slot-changed`, `busy`, ..."""

    code = "receiver-refused"


class WrongAnswer(PeerError):
    """A well-formed answer that doesn't belong to the question, again after all tries."""

    code = "wrong-answer"


class WrongReceiver(PeerError):
    """Another receiver answers than the one expected, or it has another map."""

    code = "wrong-receiver"


class NotProven(PeerError):
    """A write was answered, and reading back shows something else."""

    code = "not-proven"


class LineError(GatepostError):
    """The line failed and may recover by itself. `sent` is False when the request certainly never left."""

    sent = True


class PortUnavailable(LineError):
    """The port can't be opened: `code` is `port-missing`, `port-denied`, `port-busy` or `port-failed`."""

    code = "port-unavailable"


class LinkLost(LineError):
    """The adapter went away while a request was waiting."""

    code = "link-lost"


class NoAnswer(LineError):
    """Nothing came within the answer time, after all tries."""

    code = "no-answer"


class BrokenAnswer(LineError):
    """Something came each time, and never a whole frame: noise, wrong baud rate, two masters."""

    code = "broken-answer"


class StoreError(GatepostError):
    """The gateway's own memory failed."""


class StoreUnavailable(StoreError):
    """The write did not become durable; nothing was acknowledged and nothing was told to anyone."""

    code = "store-unavailable"


class StoreDamaged(StoreError):
    """The database can't be read."""

    code = "store-damaged"


class StoreTooNew(StoreError):
    """The database was written by a newer program than this one."""

    code = "store-too-new"


class SourceError(GatepostError):
    """The roster's source failed and may recover by itself."""


class SourceUnreachable(SourceError):
    """The roster can't be fetched now; the last good one stays in force."""

    code = "roster-unreachable"
