"""Logs: one chain for ours and for libraries' records; one JSON object a line, or words.

Under systemd a line begins with its priority (`<4>` for a warning), which journald takes off and files the line by
(sd-daemon(3)): so `journalctl -u gatepost -p warning` shows warnings and worse.
"""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Mapping, MutableMapping
from typing import Any, Literal

import structlog

__all__ = ["LogForm", "is_journal", "set_up_logs"]

LogForm = Literal["auto", "json", "plain"]
#: syslog(3)'s numbers.
_PRIORITIES = {"critical": 2, "error": 3, "warning": 4, "info": 6, "debug": 7}


def set_up_logs(form: LogForm = "auto", *, to_journal: bool | None = None) -> None:
    """Events with fields on standard error; `auto` is words on a terminal and JSON elsewhere.

    `to_journal` None finds out whether journald reads them.
    """
    terminal = sys.stderr.isatty()
    if to_journal is None:
        to_journal = is_journal(sys.stderr.fileno(), os.environ)
    plain = form == "plain" or (form == "auto" and terminal)
    shared: list[structlog.typing.Processor] = [
        structlog.stdlib.add_logger_name,
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.format_exc_info,
    ]
    structlog.configure(
        processors=[*shared, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        cache_logger_on_first_use=True,
    )
    renderer: structlog.typing.Processor = structlog.processors.JSONRenderer()
    if plain:
        renderer = structlog.dev.ConsoleRenderer(colors=terminal)
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=shared,
            processors=[
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                _Prioritised(renderer) if to_journal else renderer,
            ],
        )
    )
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(logging.INFO)


def is_journal(descriptor: int, environment: Mapping[str, str]) -> bool:
    """Whether what is written there goes to journald: systemd.exec(5) names the stream by device and inode."""
    found = os.fstat(descriptor)
    return environment.get("JOURNAL_STREAM") == f"{found.st_dev}:{found.st_ino}"


class _Prioritised:
    """What `renderer` makes, with the priority in front of each of its lines: a trace has several."""

    def __init__(self, renderer: structlog.typing.Processor) -> None:
        self._renderer = renderer

    def __call__(self, logger: Any, method: str, event: MutableMapping[str, Any]) -> str:
        mark = f"<{_PRIORITIES.get(str(event.get('level')), 6)}>"
        text = str(self._renderer(logger, method, event))
        return "\n".join(mark + line for line in text.splitlines())
