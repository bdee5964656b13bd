"""Metrics in Prometheus' text format, from a registry of our own.

Labels hold receivers' names, methods and operations: no holder, no serial, no address. Names carry base units and
counters end in `_total` (Prometheus naming rules).
"""

from __future__ import annotations

from collections.abc import Iterator

from prometheus_client import CollectorRegistry, Counter, disable_created_metrics
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector

from gateway.api.services import Services
from gateway.api.streams import Streams
from gateway.domain.live import LinkState

__all__ = ["Metrics"]


class Metrics:
    """Counters of the API, and gauges read from the ports when somebody asks."""

    def __init__(self, services: Services, streams: Streams, *, version: str) -> None:
        disable_created_metrics()  # type: ignore[no-untyped-call]
        self._registry = CollectorRegistry(auto_describe=False)
        self.requests = Counter(
            "gatepost_http_requests",
            "Requests answered, by method, operation and status.",
            ["method", "operation", "status"],
            registry=self._registry,
        )
        self.refused_tokens = Counter(
            "gatepost_refused_tokens", "Requests with a wrong access token.", registry=self._registry
        )
        self.dropped_streams = Counter(
            "gatepost_dropped_streams", "Event streams dropped since nobody read them.", registry=self._registry
        )
        self._registry.register(_Now(services, streams, version))

    def render(self, accept: str) -> tuple[bytes, str]:
        """The text and its content type, as the Accept header prefers."""
        encoder, content_type = choose_encoder(accept)
        return encoder(self._registry), content_type


class _Now(Collector):
    """What is true at the moment of asking."""

    def __init__(self, services: Services, streams: Streams, version: str) -> None:
        self._services = services
        self._streams = streams
        self._version = version

    def collect(self) -> Iterator[Metric]:
        yield from self._gateway()
        yield from self._receivers()
        yield from self._outlets()

    def _gateway(self) -> Iterator[Metric]:
        services = self._services
        build = GaugeMetricFamily("gatepost_build_info", "Always 1.", labels=["version"])
        build.add_metric([self._version], 1)
        yield build
        yield _gauge("gatepost_clock_trusted", "1 while wall time is known to be right.", services.trust.trusted)
        yield _gauge("gatepost_journal_number", "Number of the newest event.", services.journal.newest.number)
        yield _gauge("gatepost_journal_available", "1 while the journal can be written.", services.journal_available())
        yield _gauge("gatepost_event_streams", "Event streams open.", self._streams.count)
        yield _gauge("gatepost_revocations", "Revocations in force.", len(services.revocations.all()))

    def _receivers(self) -> Iterator[Metric]:
        online = GaugeMetricFamily("gatepost_receiver_online", "1 while the receiver answers.", labels=["receiver"])
        rate = GaugeMetricFamily("gatepost_receiver_poll_rate_hertz", "Polls a second, reached.", labels=["receiver"])
        revision = GaugeMetricFamily(
            "gatepost_receiver_revision", "Configuration revision last proven.", labels=["receiver"]
        )
        for live in self._services.live.receivers():
            online.add_metric([live.name], live.link is LinkState.ONLINE)
            rate.add_metric([live.name], live.poll_rate_hz)
            if live.mirror_revision is not None:
                revision.add_metric([live.name], live.mirror_revision)
        yield from (online, rate, revision)

    def _outlets(self) -> Iterator[Metric]:
        lag = GaugeMetricFamily("gatepost_outlet_lag_events", "Events still before the outlet.", labels=["outlet"])
        failing = GaugeMetricFamily(
            "gatepost_outlet_failing", "1 while events can't be delivered there.", labels=["outlet"]
        )
        counts = (
            ("gatepost_outlet_done", "Events sent or set aside.", "done"),
            ("gatepost_outlet_set_aside", "Events refused three times.", "set_aside"),
            ("gatepost_outlet_lost", "Events that the journal forgot before they were sent.", "lost"),
        )
        families = [CounterMetricFamily(name, text, labels=["outlet"]) for name, text, _ in counts]
        for state in self._services.outlets.states():
            lag.add_metric([state.name], state.lag)
            failing.add_metric([state.name], state.state in ("failing", "disabled"))
            for family, (_, _, field) in zip(families, counts, strict=True):
                family.add_metric([state.name], getattr(state.row, field))
        yield from (lag, failing, *families)


def _gauge(name: str, text: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(name, text, value=float(value))
