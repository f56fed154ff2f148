"""Cards published on a topic of a broker."""

import ssl
from dataclasses import dataclass, field
from time import monotonic
from typing import Any, Final

from paho.mqtt.client import Client, error_string
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from wideroll.notices.delivery import PAUSES_S, RefusedError, UnreachedError, deliver
from wideroll.workflow.action_card import ActionCard
from wideroll.workflow.card_json import card_bytes, card_id

__all__ = ["MqttSink"]

_VERSIONS: Final = {"5": MQTTProtocolVersion.MQTTv5, "3.1.1": MQTTProtocolVersion.MQTTv311}
_TURN_S: Final = 0.1
_NOT_NOW: Final = {136, 137, 151, 159}
"""Reason codes of MQTT 5: server unavailable, server busy, quota exceeded, connection rate exceeded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttSink:
    """Connects for each card and leaves again.

    Cards are few, hours may lie between them, and a connection kept open would have to be watched: this way a broker
    that was started anew in between makes no difference.
    """

    where: str
    host: str
    port: int
    topic: str
    qos: int
    retain: bool
    version: str
    tls: ssl.SSLContext | None = None
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    client_id: str = ""
    timeout_s: float
    pauses_s: tuple[float, ...] = PAUSES_S

    def send(self, card: ActionCard) -> None:
        """Publish the card; with quality of service 1 the broker has it on return.

        Raises:
            InputError: when the broker refuses it or, after three tries, doesn't answer.
        """
        deliver(lambda: self._publish(card), where=self.where, timeout_s=self.timeout_s, pauses_s=self.pauses_s)

    def _publish(self, card: ActionCard) -> None:
        # A test must not take the place of the last card that was meant.
        retain = self.retain and card.number > 0
        client = self._client()
        talk = _Talk(client, self.timeout_s)
        try:
            client.connect(self.host, self.port)
            talk.hear("connecting")
            client.publish(
                self.topic, card_bytes(card), qos=self.qos, retain=retain, properties=self._properties(card_id(card))
            )
            talk.hear("publishing")
            client.disconnect()
        except (OSError, ValueError) as error:
            raise UnreachedError(str(error) or type(error).__name__) from error
        finally:
            socket = client.socket()
            if socket is not None:
                socket.close()

    def _client(self) -> Client:
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=self.client_id,
            protocol=_VERSIONS[self.version],
            reconnect_on_failure=False,
        )
        client.connect_timeout = self.timeout_s
        if self.tls is not None:
            client.tls_set_context(self.tls)
        if self.username is not None:
            client.username_pw_set(self.username, self.password)
        return client

    def _properties(self, name: str) -> Properties | None:
        if self.version != "5":
            return None
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        properties.PayloadFormatIndicator = 1
        properties.ContentType = "application/json"
        properties.UserProperty = ("id", name)
        return properties


class _Talk:
    """What the broker answers, heard in the thread that asked."""

    def __init__(self, client: Client, timeout_s: float) -> None:
        self._client = client
        self._timeout_s = timeout_s
        self._end_s = monotonic() + timeout_s
        self._answer: ReasonCode | None = None
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish

    def hear(self, what: str) -> None:
        """Wait for the answer to what was asked last."""
        while self._answer is None:
            if monotonic() > self._end_s:
                raise UnreachedError.silent(self._timeout_s)
            code = self._client.loop(_TURN_S)
            if code != MQTTErrorCode.MQTT_ERR_SUCCESS and self._answer is None:
                why = f"{what}: {error_string(code)}"
                raise UnreachedError(why)
        answer, self._answer = self._answer, None
        if answer.is_failure:
            why = f"{what}: {answer}"
            raise UnreachedError(why) if answer.value in _NOT_NOW else RefusedError(why)

    def _on_connect(self, client: Client, data: Any, flags: Any, reason: ReasonCode, properties: Any) -> None:
        del client, data, flags, properties
        self._answer = reason

    def _on_publish(self, client: Client, data: Any, mid: int, reason: ReasonCode, properties: Any) -> None:
        del client, data, mid, properties
        self._answer = reason
