"""The sheet that both sides sign when an outlet is taken into use: what was sent, what arrived, and who says so."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from gateway.cli.console import local_time
from gateway.errors import Refused

__all__ = ["OUTCOMES", "sheet_name", "sign_off_sheet", "write_sheet"]

OUTCOMES = {
    "delivered": "arrived",
    "failed": "did not arrive",
    "rejected": "was refused",
    "not-tried": "was not tried",
}
_LINE = "____________________"


def sheet_name(outlet: str, time: str) -> Path:
    """The file's name when nobody gives one: the outlet and when it was tested."""
    return Path(f"sign-off-{outlet}-{re.sub(r'[^0-9]', '', local_time(time))[:12]}.md")


def sign_off_sheet(gateway: Mapping[str, Any], outlet: Mapping[str, Any], result: Mapping[str, Any]) -> str:
    """The sheet, in Markdown: it is read as it stands, and prints as a table."""
    arrived = sum(each["outcome"] == "delivered" for each in result["results"])
    lines = [
        f"# Sign-off: outlet {outlet['id']} at {gateway['id']}",
        "",
        f"- Site: {gateway['id']}",
        f"- Outlet: {outlet['id']} ({outlet['kind']}), to {_cell(outlet['place'])}",
        f"- Date: {local_time(result['time'])}",
        f"- Gatepost {gateway['version']}",
        f"- Result: {arrived} of {len(result['results'])} arrived; {'passed' if result['passed'] else 'not passed'}",
        "",
        "| event | sent as | result | answer | seconds | seen at the other side |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| {_cell(each['words'])} | {each['event']} | {OUTCOMES[each['outcome']]} | {_cell(each['answer'])} "
        f"| {each['took_s']:.3f} | [ ] |"
        for each in result["results"]
    ]
    signed = [f"{who}: {_LINE}  Date: __________  Signature: {_LINE}" for who in ("For the site", "For the other side")]
    return "\n".join([*lines, "", f"Remarks: {_LINE * 3}", "", signed[0], "", signed[1], ""])


def write_sheet(path: Path, text: str) -> None:
    """Into a new file. Raises Refused with `file-failed`; an earlier sheet is never written over."""
    try:
        with path.open("x", encoding="utf-8") as sheet:
            sheet.write(text)
    except OSError as fault:
        raise Refused(
            f"{path} can't be written: {fault.strerror}.",
            remedy="Name a new file with --sheet, in a folder that may be written to.",
            code="file-failed",
        ) from fault


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")
