"""Metrics that are read from the ports at the moment of asking."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily, Metric
from prometheus_client.registry import Collector

from gateway.api.services import LineView, Services
from gateway.api.streams import Streams
from gateway.domain.live import LinkState, LiveReceiver
from gateway.line import ANSWER_BOUNDS_S

__all__ = ["Gauges"]

#: How a line's exchanges end: the label's value and the counter of `LineCounters`.
_OUTCOMES = (
    ("answered", "answers"), ("timed_out", "timeouts"), ("damaged", "damaged"), ("foreign", "foreign"),
    ("no_silence", "crowded"),
)  # fmt: skip
_LINE_COUNTS = (
    ("gatepost_line_requests", "Requests sent on the line, repetitions and probes included.", "frames_sent"),
    ("gatepost_line_retries", "Requests sent again.", "retries"),
    ("gatepost_line_exceptions", "Answers that were exceptions of the receiver.", "exceptions"),
    ("gatepost_line_sent_bytes", "Bytes sent.", "bytes_sent"),
    ("gatepost_line_received_bytes", "Bytes received.", "bytes_received"),
    ("gatepost_line_overflows", "Requests refused since too many waited.", "overflows"),
    ("gatepost_line_port_losses", "How often the port went away.", "lost"),
    ("gatepost_line_busy_seconds", "Time that the wire was taken; its rate is the use of the line.", "busy_s"),
)
_OUTLET_COUNTS = (
    ("gatepost_outlet_done", "Events sent or set aside.", "done"),
    ("gatepost_outlet_set_aside", "Events refused three times.", "set_aside"),
    ("gatepost_outlet_lost", "Events that the journal forgot before they were sent.", "lost"),
)


def _over_a_line(live: LiveReceiver, read: Callable[[LiveReceiver], float]) -> float | None:
    """A receiver that no line reaches is neither online nor offline: there is no such row, and no alarm on it."""
    return None if live.link is LinkState.BY_HAND else read(live)


def _is_online(live: LiveReceiver) -> float:
    return live.link is LinkState.ONLINE


def _poll_rate(live: LiveReceiver) -> float:
    return live.poll_rate_hz


_RECEIVER_GAUGES: tuple[tuple[str, str, Callable[[LiveReceiver], float | None]], ...] = (
    ("gatepost_receiver_online", "1 while the receiver answers.", lambda live: _over_a_line(live, _is_online)),
    ("gatepost_receiver_poll_rate_hertz", "Polls a second, reached.", lambda live: _over_a_line(live, _poll_rate)),
    ("gatepost_receiver_revision", "Configuration revision last proven.", lambda live: live.mirror_revision),
    ("gatepost_receiver_slots", "Slots in all.", lambda live: live.limits.slots if live.limits else None),
)


class Gauges(Collector):
    """What is true now."""

    def __init__(self, services: Services, streams: Streams, version: str) -> None:
        self._services = services
        self._streams = streams
        self._version = version

    def collect(self) -> Iterator[Metric]:
        yield from self._gateway()
        yield from self._lines()
        yield from self._receivers()
        yield from self._outlets()

    def _gateway(self) -> Iterator[Metric]:
        services = self._services
        health = services.health()
        yield _family("gatepost_build_info", "Always 1.", "version", [(self._version, 1)])
        yield _gauge("gatepost_live", "1 while every part makes progress.", health.live)
        yield _gauge("gatepost_ready", "1 while the gateway does what it is there for.", health.ready)
        yield _gauge("gatepost_clock_trusted", "1 while wall time is known to be right.", services.trust.trusted)
        yield _gauge("gatepost_journal_number", "Number of the newest event.", services.journal.newest.number)
        yield _gauge("gatepost_journal_available", "1 while the journal can be written.", services.journal_available())
        yield _gauge("gatepost_event_streams", "Event streams open.", self._streams.count)
        yield _gauge("gatepost_revocations", "Revocations in force.", len(services.revocations.all()))
        yield _gauge("gatepost_conditions_open", "Conditions that are open.", len(services.conditions.open()))

    def _lines(self) -> Iterator[Metric]:
        lines = self._services.lines
        opened = [(name, line.state.kind == "open") for name, line in lines.items()]
        yield _family("gatepost_line_open", "1 while the port is open.", "line", opened)
        for name, text, field in _LINE_COUNTS:
            family = CounterMetricFamily(name, text, labels=["line"])
            for line, view in lines.items():
                family.add_metric([line], getattr(view.counters, field))
            yield family
        ends = CounterMetricFamily("gatepost_line_exchanges", "Exchanges by how they ended.", labels=["line", "result"])
        for line, view in lines.items():
            for result, field in _OUTCOMES:
                ends.add_metric([line, result], getattr(view.counters, field))
        yield ends
        yield self._answers(lines.items())

    @staticmethod
    def _answers(lines: Iterable[tuple[str, LineView]]) -> Metric:
        text = "How long answers took, from the first byte of the request to the last of the answer."
        family = HistogramMetricFamily("gatepost_line_answer_seconds", text, labels=["line"])
        for line, view in lines:
            counters, total, buckets = view.counters, 0, []
            for bound, count in zip((*map(str, ANSWER_BOUNDS_S), "+Inf"), counters.answers_by_s, strict=True):
                total += count
                buckets.append((bound, total))
            family.add_metric([line], buckets, counters.answers_s)
        return family

    def _receivers(self) -> Iterator[Metric]:
        receivers = self._services.live.receivers()
        for name, text, read in _RECEIVER_GAUGES:
            values = [(live.name, value) for live in receivers if (value := read(live)) is not None]
            yield _family(name, text, "receiver", values)
        mirrors = [(live.name, self._services.mirrors.load(live.name)) for live in receivers]
        used = [(name, len(mirror.slots)) for name, mirror in mirrors if mirror is not None]
        yield _family("gatepost_receiver_slots_used", "Slots in use.", "receiver", used)

    def _outlets(self) -> Iterator[Metric]:
        states, now = self._services.outlets.states(), self._services.clock.now()
        lags = [(state.name, state.lag) for state in states]
        yield _family("gatepost_outlet_lag_events", "Events still before the outlet.", "outlet", lags)
        ages = [
            (state.name, max(0.0, (now - state.waiting_since).total_seconds()) if state.waiting_since else 0.0)
            for state in states
        ]
        yield _family("gatepost_outlet_lag_seconds", "Age of the oldest event that waits.", "outlet", ages)
        failing = [(state.name, state.state in ("failing", "disabled")) for state in states]
        yield _family("gatepost_outlet_failing", "1 while events can't be delivered there.", "outlet", failing)
        for name, text, field in _OUTLET_COUNTS:
            family = CounterMetricFamily(name, text, labels=["outlet"])
            for state in states:
                family.add_metric([state.name], getattr(state.row, field))
            yield family


def _gauge(name: str, text: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(name, text, value=float(value))


def _family(name: str, text: str, label: str, values: Iterable[tuple[str, float]]) -> GaugeMetricFamily:
    family = GaugeMetricFamily(name, text, labels=[label])
    for labelled, value in values:
        family.add_metric([labelled], float(value))
    return family
