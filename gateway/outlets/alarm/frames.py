r"""DC-09 frames: building messages, taking answers apart.

::

    LF crc length "ID" sequence [Rreceiver] Lprefix #account [ data ] [extended] _HH:MM:SS,MM-DD-YYYY CR
       |-4 hex-|   ^----------------------- crc and length count this -----------------------------^

CRC-16/ARC (polynomial 0xA001 reflected, check BB3D), four hex digits, as the length. Encrypted: `*` before the id,
and everything behind `[` up to the timestamp is padded in front (`pad|data`), enciphered with AES-CBC (IV zero) and
written in hex (DC-09, 5.4.4). The pad may hold anything but `|`, `[`, `]`, and a text of a whole number of blocks
gets sixteen bytes more (5.4.4.2). Pure: the time and the pad's letters come from outside.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes

__all__ = ["Answer", "Header", "build_frame", "crc16_arc", "read_answer"]

PadBytes = Callable[[int], bytes]
_BLOCK = 16
_PAD_LETTERS = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"  # 32 of them: a random byte modulo 32 picks each alike
_ANSWER = re.compile(
    r'"(?P<star>\*?)(?P<word>ACK|NAK|DUH|RSP)"'
    r"(?P<sequence>\d{4})?(?P<rest>[^\[]*)(?:\[(?P<body>.*))?$",
    re.DOTALL,
)
_STAMP = re.compile(r"_(\d\d):(\d\d):(\d\d),(\d\d)-(\d\d)-(\d{4})")
_FRAME = re.compile(rb"(?P<crc>[0-9A-Fa-f]{4})(?P<length>[0-9A-Fa-f]{4})(?P<body>\".*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Header:
    """What stands before the data. `receiver` and `prefix` are 1 to 6 hex digits, `receiver` may be empty."""

    token: str  # SIA-DCS, ADM-CID or NULL
    sequence: int
    account: str
    receiver: str = "0"
    prefix: str = "0"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a station says. `word` is ACK, NAK, DUH or RSP, or empty for what is none of these.

    `time` is the station's own (NAK). `sealed` says that it came encrypted and could be read with our key.
    """

    word: str = ""
    sequence: int | None = None
    sealed: bool = False
    time: datetime | None = None


def crc16_arc(data: bytes) -> int:
    """CRC-16/ARC; of `123456789` it is BB3D (RevEng CRC catalogue)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def build_frame(
    header: Header,
    data: str,
    *,
    extended: str = "",
    time: datetime | None,
    key: bytes | None = None,
    pad_bytes: PadBytes | None = None,
) -> bytes:
    """One whole frame. `data` is what stands between `|` and `]`, empty for NULL; `extended` is `[..][..]`.

    Raises ValueError for what DC-09 can't carry: other than printable ASCII, `|`, `[`, `]` or `"` in the data, an
    encrypted message without a time (5.4.6).
    """
    _check(header, data)
    if key is not None and (time is None or pad_bytes is None):
        raise ValueError("an encrypted message needs a time and a pad")
    stamp = time.astimezone(UTC).strftime("_%H:%M:%S,%m-%d-%Y") if time is not None else ""
    inner = f"#{header.account}|{data}" if data else ""
    tail = f"{inner}]{extended}{stamp}"
    token = header.token
    if key is not None and pad_bytes is not None:
        token, tail = "*" + token, _seal(f"|{tail}", key, pad_bytes)
    number = f"R{header.receiver}" if header.receiver else ""
    body = f'"{token}"{header.sequence:04d}{number}L{header.prefix}#{header.account}[{tail}'.encode("ascii")
    return b"\n%04X%04X%s\r" % (crc16_arc(body), len(body), body)


def read_answer(frame: bytes, key: bytes | None = None) -> Answer:
    """Lenient where stations differ (a bare `"NAK"` without CRC, other orders in the header), strict in the CRC.

    What is damaged, not ours to read or no answer at all is an Answer without a word.
    """
    text = frame.strip(b"\r\n\0 ")
    if found := _FRAME.fullmatch(text):
        body = found["body"]
        if int(found["crc"], 16) != crc16_arc(body) or int(found["length"], 16) != len(body):
            return Answer()
    elif text in (b'"NAK"', b'"DUH"'):
        body = text
    else:
        return Answer()
    parts = _ANSWER.fullmatch(body.decode("ascii", "replace"))
    if parts is None:
        return Answer()
    sequence = int(parts["sequence"]) if parts["sequence"] else None
    inner = parts["body"] or ""
    if parts["star"]:
        opened = _open(inner, key) if key is not None else None
        return Answer(parts["word"], sequence, True, _time(opened)) if opened is not None else Answer()
    return Answer(parts["word"], sequence, False, _time(inner))


def _seal(text: str, key: bytes, pad_bytes: PadBytes) -> str:
    raw = text.encode("ascii")
    pad = bytes(_PAD_LETTERS[byte % len(_PAD_LETTERS)] for byte in pad_bytes(_BLOCK - len(raw) % _BLOCK))
    aes = Cipher(algorithms.AES(key), modes.CBC(bytes(_BLOCK))).encryptor()
    return (aes.update(pad + raw) + aes.finalize()).hex().upper()


def _open(sealed: str, key: bytes) -> str | None:
    """The text behind the pad (with or without the `|`); None when it is not sealed with this key."""
    try:
        raw = bytes.fromhex(sealed)
        aes = Cipher(algorithms.AES(key), modes.CBC(bytes(_BLOCK))).decryptor()
        text = (aes.update(raw) + aes.finalize()).decode("ascii")
    except ValueError:
        return None
    pad, bar, rest = text.partition("|")
    found = rest if bar and "]" not in pad else text[text.find("]") :]
    return found if "]" in found else None


def _time(text: str | None) -> datetime | None:
    found = _STAMP.search(text or "")
    if found is None:
        return None
    hour, minute, second, month, day, year = map(int, found.groups())
    try:
        return datetime(year, month, day, hour, minute, second, tzinfo=UTC)
    except ValueError:
        return None


def _check(header: Header, data: str) -> None:
    if not re.fullmatch(r"[0-9A-F]{3,16}", header.account):
        raise ValueError(f"an account has 3 to 16 hex digits: {header.account!r}")
    if not 0 <= header.sequence <= 9999:
        raise ValueError(f"a sequence number has four digits: {header.sequence}")
    if not re.fullmatch(r"[ -~]*", data) or any(sign in data for sign in '|[]"'):
        raise ValueError("the data holds what a frame can't carry")
