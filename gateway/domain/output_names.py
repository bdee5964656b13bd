"""What outputs are called: the settings file's first names, and those that people gave since.

Pure. No receiver keeps names of outputs, so they are the gateway's own. A roster may write an output by its name in
force, by its number, by a name that it had before, and by the settings file's name as long as no other output is
called so. So a file that was written before a change is read afterwards as it was before.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

__all__ = [
    "MAX_NAME",
    "MOST_FORMER",
    "CalledOutput",
    "OutputNames",
    "OutputNaming",
    "names_in_force",
    "renamed",
    "renaming_words",
    "tidy_name",
    "unfit_name",
]

MAX_NAME = 32
"""Characters of a name at most; our choice: it stands in tables and on papers."""
MOST_FORMER = 64
"""Former names that are kept of one receiver, and those besides that a roster still uses; our choice."""

_SEPARATORS = ":/,;"  # they separate names in a roster
_MARKUP = frozenset("<>&\"'`\\=\u00ab\u00bb\u2039\u203a") | frozenset(map(chr, range(0x2018, 0x2020)))
"""Markup and quotation marks: what shows names elsewhere may read them as something else."""
_DASHES = frozenset(map(chr, (*range(0x2010, 0x2016), 0x2212, 0xFE58, 0xFE63, 0xFF0D)))
"""A word processor's; a roster's are read as hyphens, so a name with one would never be found."""


@dataclass(frozen=True, slots=True)
class CalledOutput:
    """An output and a name of it."""

    output: int
    name: str


@dataclass(frozen=True, slots=True)
class OutputNaming:
    """The names `given` to outputs of one receiver since the settings file was written, and their `former` ones.

    `former` stands oldest first, each name once.
    """

    receiver: str
    given: tuple[CalledOutput, ...] = ()
    former: tuple[CalledOutput, ...] = ()


@dataclass(frozen=True, slots=True)
class OutputNames:
    """Names in force by output, and every other text that is read as one of the outputs, in folded letters."""

    outputs: Mapping[int, str] = field(default_factory=dict)
    also: Mapping[str, int] = field(default_factory=dict)


def tidy_name(text: str) -> str:
    """The name as it is kept: composed (NFC), so that it is the one that a roster writes."""
    return unicodedata.normalize("NFC", text)


def unfit_name(name: str) -> str:
    """Why an output can't be called so, as the end of a sentence; empty when it can."""
    return next((why for wrong, why in _FAULTS if wrong(name)), "") or _letter_in(name)


_FAULTS: tuple[tuple[Callable[[str], bool], str], ...] = (
    (lambda name: not 1 <= len(name) <= MAX_NAME, f"a name has at most {MAX_NAME} characters"),
    (lambda name: any(map(str.isspace, name)), "a name has no blanks; write a hyphen instead"),
    (lambda name: not name.isprintable(), "it has an invisible character; type it again"),
    (str.isdecimal, "digits alone always mean the output of that number; put a letter to it"),
)


def _letter_in(name: str) -> str:
    """What is wrong with one of its letters."""
    for letter in name:
        if letter in _SEPARATORS:
            return f"“{letter}” separates names in a roster; write a hyphen instead"
        if letter in _DASHES:
            return f"“{letter}” is no hyphen; write -"
        if letter in _MARKUP:
            return f"a name has no “{letter}” in it; use letters, digits and hyphens"
    return "" if name[0].isalnum() else "a name begins with a letter or a digit"


def names_in_force(of_settings: Mapping[int, str], naming: OutputNaming) -> OutputNames:
    """What outputs are called now, and what else is read as them.

    A given name gives way where the settings file has come to call another output so: two outputs never share one.
    """
    outputs = _without_doubles(of_settings, {each.output: each.name for each in naming.given})
    texts = [*((name, number) for number, name in of_settings.items()), *_pairs(naming.former)]
    also = {name.casefold(): number for name, number in texts if name}  # a former name comes before the file's
    for name in outputs.values():
        also.pop(name.casefold(), None)
    return OutputNames(outputs, also)


def renamed(
    of_settings: Mapping[int, str], naming: OutputNaming, wanted: Mapping[int, str], in_use: Collection[str] = ()
) -> OutputNaming:
    """The naming with outputs called otherwise; an empty name goes back to the settings file's.

    `in_use` are the texts, in folded letters, by which rosters write outputs: those are kept beyond `MOST_FORMER`.
    """
    before = names_in_force(of_settings, naming).outputs
    given = {each.output: each.name for each in naming.given} | dict(wanted)
    kept = {number: name for number, name in sorted(given.items()) if name and name != of_settings.get(number, "")}
    called = OutputNaming(naming.receiver, tuple(CalledOutput(number, name) for number, name in kept.items()))
    after = names_in_force(of_settings, called).outputs
    taken = {name.casefold() for name in after.values()}
    left = [CalledOutput(number, name) for number, name in before.items() if name != after.get(number)]
    again = {each.name.casefold() for each in left} | taken
    former = [each for each in naming.former if each.name.casefold() not in again]
    former += [each for each in left if each.name.casefold() not in taken]
    return OutputNaming(naming.receiver, called.given, tuple(_newest(former, in_use)))


def renaming_words(data: Mapping[str, Any]) -> list[str]:
    """What an event `settings.changed` tells of names, a sentence without its end for each output; else nothing."""
    return [
        f"output {each.get('output', '?')} "
        + (f"is called {each['after']}" if each.get("after") else "has no name any more")
        + (f", before {each['before']}" if each.get("before") else "")
        for each in data.get("output_names") or ()
    ]


def _without_doubles(of_settings: Mapping[int, str], given: Mapping[int, str]) -> dict[int, str]:
    """Each given name that another output has too is dropped, until no two are the same."""
    while True:
        found = {number: name for number, name in sorted({**of_settings, **given}.items()) if name}
        folded = [name.casefold() for name in found.values()]
        kept = {number: name for number, name in given.items() if folded.count(name.casefold()) == 1}
        if len(kept) == len(given):
            return found
        given = kept


def _pairs(called: Collection[CalledOutput]) -> list[tuple[str, int]]:
    return [(each.name, each.output) for each in called]


def _newest(former: list[CalledOutput], in_use: Collection[str]) -> list[CalledOutput]:
    """The newest, and the older ones that are in use."""
    older = former[:-MOST_FORMER]
    return [each for each in older if each.name.casefold() in in_use] + former[-MOST_FORMER:]
