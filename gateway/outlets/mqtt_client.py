"""An MQTT 5 connection whose publishing ends with the broker's own answer.

aiomqtt (2.5) drops the reason code of a PUBACK, so a message that the broker refused would count as delivered, and
it lets a publish wait for its whole time-out after the connection has gone. Both are mended here, in the only two
callbacks that know (MQTT 5.0, 3.4.2.1, table 3-24). A broker may also close the connection over a message
(3.14.2.1); that is a refusal of it too, or the same message would close every connection to come. One publish at a
time.
"""

from __future__ import annotations

import asyncio
from typing import Any

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

__all__ = ["CONTENT_TYPE", "NOT_THIS_MESSAGE", "BrokerRefused", "Connection", "ConnectionCut", "ConnectionLost"]

CONTENT_TYPE = "application/cloudevents+json; charset=utf-8"
#: Reason codes that speak of one message: topic name invalid, packet too large, payload format invalid.
NOT_THIS_MESSAGE = frozenset((144, 149, 153))
_PUBACK_S = 10.0
_UNSPECIFIED = 128  # also what paho says when the socket just went


class BrokerRefused(aiomqtt.MqttError):
    """The broker answered a publish with a no. `code` is the PUBACK's reason code."""

    def __init__(self, topic: str, reason: ReasonCode) -> None:
        super().__init__(f"the broker refuses {topic}: {reason.getName()}")
        self.code = int(reason.value)


class ConnectionCut(aiomqtt.MqttError):
    """The connection went while a publish waited for its answer."""


class ConnectionLost(aiomqtt.MqttError):
    """It went while nothing was on its way. `code` is the broker's reason (MQTT 5, 3.14.2.1), 0 when it gave none."""

    def __init__(self, reason: ReasonCode | None) -> None:
        told = reason is not None and reason.value != _UNSPECIFIED
        self.code = int(reason.value) if reason is not None and told else 0
        self.why = f": {reason.getName().lower()}" if reason is not None and told else ""
        super().__init__(f"the connection was closed{self.why}")


class Connection(aiomqtt.Client):
    """`async with` it, then `send`."""

    def __init__(self, hostname: str, port: int, **options: Any) -> None:
        super().__init__(hostname, port, protocol=aiomqtt.ProtocolVersion.V5, timeout=_PUBACK_S, **options)
        self._one_at_a_time = asyncio.Lock()
        self._refusal: ReasonCode | None = None
        self._lost = False
        self._reason: ReasonCode | None = None
        self._closed_over: ReasonCode | None = None

    async def send(self, topic: str, payload: bytes, *, retain: bool, content_type: str) -> None:
        """QoS 1; returns at the PUBACK. Raises BrokerRefused, aiomqtt.MqttError."""
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        properties.ContentType = content_type
        properties.PayloadFormatIndicator = 1
        async with self._one_at_a_time:
            self._refusal = None
            await self.publish(topic, payload, qos=1, retain=retain, properties=properties)
            if self._refusal is not None:
                raise BrokerRefused(topic, self._refusal)
            if self._closed_over is not None:
                raise BrokerRefused(topic, self._closed_over)
            if self._lost:
                raise ConnectionCut(f"the connection was closed when {topic} was sent, and the broker did not say why")

    async def wait_lost(self) -> None:
        """Raises ConnectionLost when the connection is gone."""
        try:
            async for _ in self.messages:
                pass
        except aiomqtt.MqttError as error:
            raise ConnectionLost(self._reason) from error

    def _on_publish(
        self, client: Any, userdata: Any, mid: int, reason_code: ReasonCode, properties: Properties
    ) -> None:
        if reason_code.is_failure:
            self._refusal = reason_code
        super()._on_publish(client, userdata, mid, reason_code, properties)

    def _on_disconnect(
        self, client: Any, userdata: Any, flags: Any, reason_code: ReasonCode, properties: Properties | None = None
    ) -> None:
        self._reason = reason_code if isinstance(reason_code, ReasonCode) else None
        super()._on_disconnect(client, userdata, flags, reason_code, properties)
        self._lost = True
        if self._pending_publishes and getattr(reason_code, "value", 0) in NOT_THIS_MESSAGE:
            self._closed_over = reason_code
        for waiting in self._pending_publishes.values():
            waiting.set()
