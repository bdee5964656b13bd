"""DC-09 frames against frames that others published.

Sources: the frames of the project's list of published values (ANSI/SIA DC-09 examples found in open test suites, CRC
and length recomputed), and CRC-16/ARC of the RevEng CRC catalogue. Frames that carry a wrong CRC there are left out.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.outlets.alarm import frames
from gateway.outlets.alarm.frames import Answer, Header, build_frame, crc16_arc, read_answer

WHEN = datetime(2026, 11, 25, 5, 14, 28, tzinfo=UTC)
KEY = b"AAAAAAAAAAAAAAAA"


def fixed_pad(count: int) -> bytes:
    return bytes(range(count))


def test_the_checksum_of_the_catalogue() -> None:
    """CRC-16/ARC, check value BB3D."""
    assert crc16_arc(b"123456789") == 0xBB3D


@pytest.mark.parametrize(
    ("published", "header", "data", "extended", "when"),
    [
        (
            b'CE110032"SIA-DCS"9876R579BDFL789ABC#12345A[#12345A|NFA129]',
            Header("SIA-DCS", 9876, "12345A", "579BDF", "789ABC"),
            "NFA129",
            "",
            None,
        ),
        (
            b'87CD0037"ADM-CID"9876R579BDFL789ABC#12345A[#12345A|1110 00 129]',
            Header("ADM-CID", 9876, "12345A", "579BDF", "789ABC"),
            "1110 00 129",
            "",
            None,
        ),
        (
            b'73580056"SIA-DCS"0002R1L232#78919[#78919|Nri1/BA012][X012W34.1][Y045N12.2]_14:12:04,09-25-2026',
            Header("SIA-DCS", 2, "78919", "1", "232"),
            "Nri1/BA012",
            "[X012W34.1][Y045N12.2]",
            datetime(2026, 9, 25, 14, 12, 4, tzinfo=UTC),
        ),
        (
            b'7F3F003D"SIA-DCS"0001R0L0#1234[#1234|Nri1/OP0042]_05:14:28,11-25-2026',
            Header("SIA-DCS", 1, "1234"),
            "Nri1/OP0042",
            "",
            WHEN,
        ),
        (
            b'9538003D"ADM-CID"0003R0L0#1234[#1234|1401 01 042]_05:14:28,11-25-2026',
            Header("ADM-CID", 3, "1234"),
            "1401 01 042",
            "",
            WHEN,
        ),
    ],
)
def test_published_frames(published: bytes, header: Header, data: str, extended: str, when: datetime | None) -> None:
    """Byte for byte, checksum and length too."""
    assert build_frame(header, data, extended=extended, time=when) == b"\n" + published + b"\r"


def test_a_published_frame_without_prefix_digits() -> None:
    """The checksum and length of a frame with no `R` and no `L`, which we read but never write."""
    body = b'"SIA-DCS"0002#0123[#0123|Nti20:50:26RP99]'
    assert b"%04X%04X" % (crc16_arc(body), len(body)) == b"3BAC0029"


def test_the_published_encrypted_link_test_is_opened() -> None:
    """AES-128-CBC with a zero IV; this frame lacks the bar behind its pad, which is accepted on reading."""
    sealed = "B4BC8B40D0E6D959D6BEA78E88CC0B2155741A3C44FBB96D476A3E557CAD64D9"
    assert frames._open(sealed, KEY) == "]_18:24:52,07-05-2020"
    body = b'"*NULL"0000R0L0#AAAB[' + sealed.encode()
    assert b"%04X%04X" % (crc16_arc(body), len(body)) == b"76D80055"


@pytest.mark.parametrize("size", [16, 24, 32])
@pytest.mark.parametrize("data", ["", "Nri1/OP0042", "1401 01 042"])
def test_what_is_sealed_is_whole_blocks_with_a_pad_in_front(size: int, data: str) -> None:
    """DC-09, 5.4.4: the pad has no `|`, `[`, `]`; a bar stands before the data; all lengths of key."""
    key = bytes(range(size))
    frame = build_frame(Header("NULL", 0, "1234"), data, time=WHEN, key=key, pad_bytes=fixed_pad)
    found = re.fullmatch(rb'\n[0-9A-F]{8}"\*NULL"0000R0L0#1234\[([0-9A-F]+)\r', frame)
    assert found is not None
    assert len(found[1]) % 32 == 0
    opened = frames._open(found[1].decode(), key)
    assert opened == (f"#1234|{data}" if data else "") + "]_05:14:28,11-25-2026"


def test_a_text_of_whole_blocks_gets_one_block_more() -> None:
    """DC-09, 5.4.4.2: there is always a pad."""
    for length in range(1, 33):
        inner = len(f"|#123|{'x' * length}]_05:14:28,11-25-2026")
        frame = build_frame(Header("SIA-DCS", 1, "123"), "x" * length, time=WHEN, key=KEY, pad_bytes=fixed_pad)
        sealed_bytes = len(frame.partition(b"[")[2].strip()) // 2
        assert inner < sealed_bytes <= inner + 16
        assert sealed_bytes % 16 == 0


@pytest.mark.parametrize("data", ["a|b", "a[b", "a]b", 'a"b', "a\rb", "a\nb", "Größe"])
def test_what_would_break_a_frame_is_refused(data: str) -> None:
    """No text of anybody's can end a frame or begin a field (reliability goal S6)."""
    with pytest.raises(ValueError, match="can't carry"):
        build_frame(Header("SIA-DCS", 1, "1234"), data, time=WHEN)


@pytest.mark.parametrize("account", ["12", "G123", "12345678901234567", "12ab"])
def test_accounts_that_are_none(account: str) -> None:
    """Three to sixteen hex digits."""
    with pytest.raises(ValueError, match="account"):
        build_frame(Header("SIA-DCS", 1, account), "NRP00", time=WHEN)


def test_an_encrypted_message_needs_a_time() -> None:
    """DC-09, 5.4.6."""
    with pytest.raises(ValueError, match="time"):
        build_frame(Header("SIA-DCS", 1, "1234"), "NRP00", time=None, key=KEY, pad_bytes=fixed_pad)


def answer(body: str) -> bytes:
    raw = body.encode()
    return b"\n%04X%04X%s\r" % (crc16_arc(raw), len(raw), raw)


def sealed(body: str, text: str, key: bytes = KEY) -> bytes:
    return answer(body + frames._seal(text, key, fixed_pad))


@pytest.mark.parametrize(
    ("frame", "key", "wanted"),
    [
        (answer('"ACK"0001R0L0#1234[]'), None, Answer("ACK", 1)),
        (answer('"ACK"0001L0#1234[]'), None, Answer("ACK", 1)),
        (answer('"DUH"0001R0L0#1234[]'), None, Answer("DUH", 1)),
        (
            answer('"NAK"0000L0R0A0[]_14:12:04,09-25-2026'),
            None,
            Answer("NAK", 0, False, datetime(2026, 9, 25, 14, 12, 4, tzinfo=UTC)),
        ),
        (b'"NAK"', None, Answer("NAK")),
        (sealed('"*ACK"0007R0L0#1234[', "|]_05:14:28,11-25-2026"), KEY, Answer("ACK", 7, True, WHEN)),
        # an independent receiver pads with zeros and sends no bar
        (sealed('"*ACK"0007R0L0#1234[', "0000000000]_05:14:28,11-25-2026"), KEY, Answer("ACK", 7, True, WHEN)),
        (sealed('"*ACK"0007R0L0#1234[', "|]_05:14:28,11-25-2026"), b"B" * 16, Answer()),
        (sealed('"*ACK"0007R0L0#1234[', "|]_05:14:28,11-25-2026"), None, Answer()),
        (answer('"*ACK"0007R0L0#1234[00'), KEY, Answer()),
        (answer('"ACK"0001R0L0#1234[]').replace(b"0001R", b"0002R"), None, Answer()),
        (b'\n0000001C"ACK"0001R0L0#1234[]\r', None, Answer()),
        (b"\n\r", None, Answer()),
        (b"", None, Answer()),
        (answer('"NAK"0000L0R0A0[]_99:99:99,99-99-2026'), None, Answer("NAK", 0)),
    ],
)
def test_answers_are_read(frame: bytes, key: bytes | None, wanted: Answer) -> None:
    """Lenient in form, strict in checksum, length and key."""
    assert read_answer(frame, key) == wanted


@given(st.binary(max_size=120), st.sampled_from([None, KEY]))
def test_rubbish_never_crashes(frame: bytes, key: bytes | None) -> None:
    """Whatever a station sends is parsed as hostile."""
    assert isinstance(read_answer(frame, key), Answer)


@given(st.text(max_size=80), st.sampled_from([None, KEY]))
def test_rubbish_in_a_sound_frame_never_crashes(text: str, key: bytes | None) -> None:
    """Also with a right checksum."""
    assert isinstance(read_answer(answer('"' + text), key), Answer)
    assert isinstance(read_answer(answer(f'"*ACK"0001R0L0#1234[{text}'), key), Answer)
