"""Wire times against the standard's figures (Modbus over Serial Line V1.02, 2.5.1.1)."""

from __future__ import annotations

import pytest

from gateway.line import LineConfig, Timing
from gateway.line.timing import registers_per_frame


@pytest.mark.parametrize(("baud", "silence_ms"), [(9600, 4.010), (19200, 2.005), (38400, 1.750), (115200, 1.750)])
def test_t35_of_eleven_bit_characters(baud: int, silence_ms: float) -> None:
    """With parity a character has eleven bits, and t3.5 is fixed above 19200 baud."""
    timing = Timing.of(LineConfig("quay", "/dev/null", baud=baud, parity="E"))
    assert timing.silence_s * 1000 == pytest.approx(silence_ms, abs=0.001)


@pytest.mark.parametrize(("parity", "stop_bits", "bits"), [("N", 1, 10), ("N", 2, 11), ("E", 1, 11), ("O", 2, 12)])
def test_a_character_is_as_long_as_the_format_says(parity: str, stop_bits: int, bits: int) -> None:
    """Start bit, eight data bits, parity if any, stop bits."""
    config = LineConfig("quay", "/dev/null", baud=9600, parity=parity, stop_bits=stop_bits)  # type: ignore[arg-type]
    assert Timing.of(config).wire_s(96) == pytest.approx(bits / 100)


@pytest.mark.parametrize("baud", [9600, 19200, 38400, 57600, 115200])
@pytest.mark.parametrize("overhead", [0, 4, 20])
def test_a_frame_within_the_budget(baud: int, overhead: int) -> None:
    """The whole transaction takes at most 50 ms, and one more register would not fit."""
    timing = Timing.of(LineConfig("quay", "/dev/null", baud=baud))
    count = registers_per_frame(timing, 0.050, overhead)

    def transaction_s(registers: int) -> float:
        return timing.wire_s(13 + overhead + 2 * registers) + 2 * timing.silence_s + 0.001

    assert transaction_s(count) <= 0.050
    assert count == (251 - overhead) // 2 or transaction_s(count + 1) > 0.050


def test_there_is_always_room_for_one_register() -> None:
    """A budget that can't be kept gives the smallest frame, not none."""
    assert registers_per_frame(Timing.of(LineConfig("quay", "/dev/null", baud=300)), 0.050) == 1


def test_settings_that_make_no_line_are_refused() -> None:
    """No tries, no speed."""
    with pytest.raises(ValueError, match="tries"):
        LineConfig("quay", "/dev/null", tries=0)
    with pytest.raises(ValueError, match="baud"):
        LineConfig("quay", "/dev/null", baud=0)
