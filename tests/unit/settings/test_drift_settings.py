"""What becomes of changes by other hands: a receiver's own word, the site's, its older name, and what stands unsaid."""

from __future__ import annotations

import pytest

from gateway.domain.drift import DriftPolicy
from gateway.errors import SettingsFault
from gateway.settings import parse_settings


def text(roster: str = "", receiver: str = "") -> str:
    return (
        '[gateway]\nsite = "fennel-quay"\n[lines.quayside]\nport = "/dev/ttyS0"\n'
        f'[receivers.slip-gate]\nline = "quayside"\n{receiver}\n'
        '[receivers.car-park]\nline = "quayside"\naddress = 2\n'
        f'[roster]\nsource = "/etc/gatepost/roster.csv"\n{roster}\n'
    )


@pytest.mark.parametrize(
    ("roster", "receiver", "slip_gate", "car_park"),
    [
        ("", "", "remove", "remove"),
        ('drift = "adopt"', "", "adopt", "adopt"),
        ('drift = "adopt"', 'drift = "report"', "report", "adopt"),
        ('unknown = "report"', "", "report", "report"),
        ('unknown = "report"', 'drift = "remove"', "remove", "report"),
    ],
)
def test_whose_word_counts(roster: str, receiver: str, slip_gate: str, car_park: str) -> None:
    """The receiver's own before the site's; the older name means the same."""
    drift = parse_settings(text(roster, receiver), "gatepost.toml").drift
    assert drift == {"slip-gate": DriftPolicy(slip_gate), "car-park": DriftPolicy(car_park)}


def test_two_words_for_one_thing_are_refused() -> None:
    """Which of them would count is no riddle for anybody to solve."""
    with pytest.raises(SettingsFault, match="unknown is the older name of drift"):
        parse_settings(text('drift = "adopt"\nunknown = "remove"'), "gatepost.toml")
