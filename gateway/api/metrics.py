"""Metrics in Prometheus' text format, from a registry of our own.

Labels hold the settings' names of lines, receivers and outlets, methods, operations and events' names: no holder, no
serial, no address. Names carry base units and counters end in `_total` (Prometheus naming rules).
"""

from __future__ import annotations

from prometheus_client import CollectorRegistry, Counter, Histogram, disable_created_metrics
from prometheus_client.exposition import choose_encoder

from gateway.api.gauges import Gauges
from gateway.api.services import Services
from gateway.api.streams import Streams

__all__ = ["Metrics"]

_REQUEST_BOUNDS_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)


class Metrics:
    """Counters of the API, and what is read from the ports when somebody asks."""

    def __init__(self, services: Services, streams: Streams, *, version: str) -> None:
        disable_created_metrics()  # type: ignore[no-untyped-call]
        self._registry = CollectorRegistry(auto_describe=False)
        self.requests = Counter(
            "gatepost_http_requests",
            "Requests answered, by method, operation and status.",
            ["method", "operation", "status"],
            registry=self._registry,
        )
        self.request_seconds = Histogram(
            "gatepost_http_request_duration_seconds",
            "How long requests took to answer, by operation; event streams are left out.",
            ["operation"],
            buckets=_REQUEST_BOUNDS_S,
            registry=self._registry,
        )
        self.events = Counter(
            "gatepost_events",
            "Events of the journal since the start, by name and receiver (empty: the gateway itself).",
            ["name", "receiver"],
            registry=self._registry,
        )
        self.refused_tokens = Counter(
            "gatepost_refused_tokens", "Requests with a wrong access token.", registry=self._registry
        )
        self.dropped_streams = Counter(
            "gatepost_dropped_streams", "Event streams dropped since nobody read them.", registry=self._registry
        )
        self._registry.register(Gauges(services, streams, version))

    def render(self, accept: str) -> tuple[bytes, str]:
        """The text and its content type, as the Accept header prefers."""
        encoder, content_type = choose_encoder(accept)
        return encoder(self._registry), content_type
