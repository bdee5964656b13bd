"""The table of problems: code, status, title.

A code is stable and ends in the `type` of a problem document (RFC 9457, 3.1.1). An error of `gateway.errors`
is looked up by its own code first, then by its class, so that a new code of a known class always has a status.
Statuses are those of RFC 9110, section 15, and RFC 6585.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from gateway import errors
from gateway.api.problem_titles import TITLES

__all__ = ["CLASS_PROBLEMS", "CODE_PROBLEMS", "PREFIX", "REQUEST_PROBLEMS", "ProblemType", "problem_type"]

PREFIX = "urn:gatepost:problem:"


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A status and a title that is the same for every occurrence."""

    status: int
    title: str


#: Faults of the request itself; raised as `RequestFault`.
REQUEST_PROBLEMS: dict[str, ProblemType] = {
    "request-malformed": ProblemType(400, "The request is malformed"),
    "body-malformed": ProblemType(400, "The body can't be read"),
    "cursor-invalid": ProblemType(400, "The cursor or event id is not one of ours"),
    "token-missing": ProblemType(401, "An access token is needed"),
    "token-invalid": ProblemType(401, "The access token is not known"),
    "session-ended": ProblemType(401, "The session has ended"),
    "cross-site": ProblemType(403, "The request did not come from the gateway's own page"),
    "scope-insufficient": ProblemType(403, "The access token may not do this"),
    "board-only": ProblemType(403, "That is done from the board alone"),
    "route-not-found": ProblemType(404, "There is nothing at this address"),
    "method-not-allowed": ProblemType(405, "This address does not take that method"),
    "body-too-slow": ProblemType(408, "The body took too long"),
    "idempotency-key-busy": ProblemType(409, "The first request with this key is still being worked on"),
    "idempotency-key-unfinished": ProblemType(409, "The gateway stopped while it worked on the first request"),
    "journal-restarted": ProblemType(410, "Events behind this id are no longer kept"),
    "precondition-failed": ProblemType(412, "It was changed since it was read"),
    "body-too-large": ProblemType(413, "The body is too large"),
    "body-type-unsupported": ProblemType(415, "The body has another type than is read here"),
    "host-not-allowed": ProblemType(421, "The Host is not one that this gateway answers to"),
    "body-invalid": ProblemType(422, "The body has fields that are wrong"),
    "roster-faulty": ProblemType(422, "The roster would have faults"),
    "query-invalid": ProblemType(422, "The query has parameters that are wrong"),
    "idempotency-key-reused": ProblemType(422, "The key was used for another request"),
    "precondition-required": ProblemType(428, "If-Match is needed"),
    "too-many-failures": ProblemType(429, "Too many wrong tokens from this address"),
    "too-many-requests": ProblemType(429, "Too many requests from this caller"),
    "header-too-large": ProblemType(431, "The header is too large"),
    "internal": ProblemType(500, "Something went wrong in the gateway"),
    "still-held": ProblemType(409, "A receiver still holds the transmitter"),
    "streams-exhausted": ProblemType(503, "All event streams are in use"),
}

#: By class of `gateway.errors`; the class's own code is the problem's code unless the error says another.
CLASS_PROBLEMS: dict[type[errors.GatepostError], ProblemType] = {
    errors.SettingsFault: ProblemType(500, "The settings file is wrong"),
    errors.MapFault: ProblemType(500, "A map file is wrong"),
    errors.SourceRefused: ProblemType(502, "The roster that was fetched is not acceptable"),
    errors.NotFound: ProblemType(404, "It does not exist"),
    errors.Refused: ProblemType(409, "A rule says no"),
    errors.Unsupported: ProblemType(404, "This receiver has no such capability"),
    errors.ReceiverException: ProblemType(502, "The receiver answered with an exception"),
    errors.ReceiverRefused: ProblemType(502, "The receiver refused"),
    errors.WrongAnswer: ProblemType(502, "The receiver answered something else"),
    errors.WrongReceiver: ProblemType(502, "Another receiver answers than expected"),
    errors.NotProven: ProblemType(502, "The receiver does not hold what was written"),
    errors.PortUnavailable: ProblemType(503, "The serial port can't be used"),
    errors.LinkLost: ProblemType(503, "The adapter went away"),
    errors.NoAnswer: ProblemType(504, "The receiver does not answer"),
    errors.BrokenAnswer: ProblemType(502, "Only damaged answers come from the line"),
    errors.StoreUnavailable: ProblemType(503, "The gateway can't keep anything just now"),
    errors.StoreDamaged: ProblemType(503, "The gateway's memory is damaged"),
    errors.StoreTooNew: ProblemType(503, "The gateway's memory is of a newer program"),
    errors.SourceUnreachable: ProblemType(502, "The roster's source can't be reached"),
}

#: Codes that need another status or title than their class has.
CODE_PROBLEMS: dict[str, ProblemType] = {
    "session-needs-token": ProblemType(409, "A session needs a token"),
    "nothing-asked": ProblemType(422, "Nothing was asked for"),
    "no-such-output": ProblemType(422, "The receiver has no such output"),
    "output-out-of-range": ProblemType(422, "The receiver has no such output"),
    "output-name-unfit": ProblemType(422, "An output can't be called so"),
    "output-name-taken": ProblemType(409, "Another output is called so"),
    "output-name-in-roster": ProblemType(409, "The roster writes another output so"),
    "on-time-out-of-range": ProblemType(422, "The on-time is outside the receiver's limits"),
    "password-characters": ProblemType(422, "The link password has characters that the receiver can't keep"),
    "password-too-long": ProblemType(422, "The link password is too long"),
    "password-unfit": ProblemType(422, "The link password does not fit the receiver"),
    "serial-missing": ProblemType(422, "A serial is needed"),
    "holder-listed": ProblemType(409, "The person is still on the roster"),
    "holder-missing": ProblemType(422, "A holder is needed"),
    "rights-missing": ProblemType(422, "It is not clear what the transmitter may work"),
    "rights-malformed": ProblemType(422, "The rights can't be read"),
    "text-unfit": ProblemType(422, "A text has characters that no roster can have"),
    "no-such-group": ProblemType(422, "The roster has no such group"),
    "no-such-kind": ProblemType(422, "There is no such kind of transmitter"),
    "no-such-holder": ProblemType(422, "The roster has no such holder"),
    "serial-out-of-range": ProblemType(422, "No transmitter can have this serial"),
    "no-name": ProblemType(422, "A name is needed"),
    "no-scope": ProblemType(422, "A scope is needed"),
    "unknown-scope": ProblemType(422, "There is no such scope"),
    "condition-cleared": ProblemType(409, "The condition was cleared already"),
    "acknowledged-already": ProblemType(409, "Somebody has taken note already"),
    "decision-impossible": ProblemType(409, "The decision makes no sense for that change"),
    "slot-changed": ProblemType(409, "The slot was changed at the receiver meanwhile"),
    "memory-full": ProblemType(409, "The receiver's memory is full"),
    "operation-repeated": ProblemType(409, "The key was used for a closure already"),
    "visit-length": ProblemType(422, "That is no length of a visit"),
    "no-reason": ProblemType(422, "A reason is needed"),
    "closure-too-long": ProblemType(422, "The closure is too long for this output"),
    "one-closure-only": ProblemType(422, "Only one closure can be asked for"),
    "operated-just-now": ProblemType(429, "The output was operated less than 10 s ago"),
    "operated-too-often": ProblemType(429, "Outputs were operated six times within a minute"),
    "operation-unknown": ProblemType(504, "It is not known whether the gate moved"),
    "line-full": ProblemType(503, "Too many requests wait for the line"),
    "busy": ProblemType(503, "The receiver is busy"),
    "password-wait": ProblemType(503, "The receiver makes everybody wait after wrong passwords"),
    "roster-elsewhere": ProblemType(409, "The roster is not kept here"),
    "roster-exists": ProblemType(409, "This gateway keeps a roster already"),
    "roster-empty": ProblemType(409, "The roster would be empty"),
    "serial-known": ProblemType(409, "The roster has this transmitter already"),
    "group-known": ProblemType(409, "There is a group of that name already"),
    "group-in-use": ProblemType(409, "Transmitters are in the group"),
    "groups-unwritable": ProblemType(409, "The groups file can't be changed piece by piece"),
    "workbook-unfit": ProblemType(409, "A workbook can't hold this roster"),
    "nothing-held": ProblemType(409, "The receivers hold no transmitter"),
    "first-roster-faulty": ProblemType(409, "What the receivers hold can't be written as a roster"),
}

_UNKNOWN = ProblemType(500, "Something went wrong in the gateway")


def problem_type(error: errors.GatepostError) -> ProblemType:
    """Status and title for an error."""
    if error.code in REQUEST_PROBLEMS:
        return REQUEST_PROBLEMS[error.code]
    if error.code in CODE_PROBLEMS:
        return CODE_PROBLEMS[error.code]
    of_class = next((CLASS_PROBLEMS[kind] for kind in type(error).__mro__ if kind in CLASS_PROBLEMS), _UNKNOWN)
    return replace(of_class, title=TITLES[error.code]) if error.code in TITLES else of_class
