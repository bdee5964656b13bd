"""Waits between tries."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

from gateway.outlets.mqtt import MqttPlan
from gateway.outlets.schedules import BROKER, STANDARD_WEBHOOKS


def test_the_schedule_of_standard_webhooks() -> None:
    """Standard Webhooks 1.0.0: 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h, 24 h apart; ours goes on so."""
    hours = [5 / 3600, 5 / 60, 0.5, 2, 5, 10, 14, 20, 24, 24, 24]
    assert [STANDARD_WEBHOOKS.delay_s(n, lambda low, _: low) / 3600 for n in range(1, 12)] == hours
    assert STANDARD_WEBHOOKS.delay_s(1, lambda _, high: high) == 6


def test_five_hundred_gateways_come_back_spread() -> None:
    """Reliability case 23: no second has over a twentieth of them, and all are back within the minute."""
    schedule = replace(BROKER, spread_s=MqttPlan("b", "h", 1, "g", ()).spread_s)
    for seed in range(20):
        dice = random.Random(seed)
        back = [schedule.delay_s(1, dice.uniform) for _ in range(500)]
        assert max(Counter(int(second) for second in back).values()) <= 25
        assert max(back) <= 60
    assert schedule.delay_s(99, lambda _, high: high) <= 60
