"""The service's connections to the broker; the only place of the service that knows paho.

One connection carries the messages of all rigs. Each rig that shows up gets a presence connection besides: its will
is how the rig learns within seconds that the service died. paho's threads only hand over.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from rig.wire import TOPIC_ROOT, Message, Service, encode, stream_of, topic_of

log = logging.getLogger(__name__)
KEEPALIVE_S = 3
RETRY_S = 2
INFLIGHT = 100
GOODBYE_S = 1.0


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """Where the broker is and how to log in."""

    host: str
    port: int
    user: str | None = None
    password: str | None = None


@dataclass(frozen=True, slots=True)
class LinkEvents:
    """Where the link reports to, on paho's thread: (topic, payload), connection changes, refusals."""

    on_message: Callable[[str, bytes], None]
    on_connection: Callable[[bool], None]
    on_refusal: Callable[[str], None]


class MqttLink:
    """The message connection and the presences, connected again after every break."""

    def __init__(self, settings: LinkSettings, events: LinkEvents) -> None:
        self._settings = settings
        self._events = events
        self._is_lost = self._is_up = self._is_closing = False
        self.was_up = False
        self._retained: dict[str, bytes] = {}
        self._presences: dict[str, _Presence] = {}
        client = _make_client(settings)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        self._client = client

    @property
    def is_up(self) -> bool:
        """Whether the broker can be reached now."""
        return self._is_up

    def open(self) -> None:
        """Begin to connect in the background and stay connected."""
        self._client.connect_async(self._settings.host, self._settings.port, keepalive=KEEPALIVE_S)
        self._client.loop_start()

    def greet(self, rig: str) -> None:
        """Tell a rig, from now on, that the service is there."""
        if rig not in self._presences:
            self._presences[rig] = _Presence(self._settings, rig)

    def publish(self, rig: str, message: Message, *, is_retained: bool = False) -> None:
        """Send a message to a rig; a retained one is sent again at each connect."""
        topic, payload = topic_of(rig, stream_of(message)), encode(message)
        if is_retained:
            self._retained[topic] = payload
        if self._is_up:
            self._client.publish(topic, payload, qos=1, retain=is_retained)

    def close(self) -> None:
        """Say good-bye to every rig and disconnect."""
        self._is_closing = True  # a good-bye is no lost broker
        for presence in self._presences.values():
            presence.close()
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(
        self, client: Client, userdata: Any, flags: ConnectFlags, code: ReasonCode, properties: Properties | None
    ) -> None:
        if code.is_failure:
            where = f"{self._settings.host}:{self._settings.port}"
            self._events.on_refusal(f"the broker at {where} refuses the service ({code}): check user and password file")
            return
        client.subscribe(f"{TOPIC_ROOT}/+/+", 1)
        for topic, payload in list(self._retained.items()):
            client.publish(topic, payload, qos=1, retain=True)
        self._change(is_up=True)

    def _on_connect_fail(self, client: Client, userdata: Any) -> None:
        self._change(is_up=False)

    def _on_disconnect(
        self, client: Client, userdata: Any, flags: DisconnectFlags, code: ReasonCode, properties: Properties | None
    ) -> None:
        self._change(is_up=False)

    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        self._events.on_message(message.topic, bytes(message.payload))

    def _change(self, *, is_up: bool) -> None:
        """Report a change of the connection, and log it once."""
        if not is_up and not self._is_lost and not self._is_closing:
            log.warning("no broker at %s:%d; trying again", self._settings.host, self._settings.port)
        if is_up and self._is_lost:
            log.warning("connected to the broker again")
        self._is_lost, self._is_up = not is_up, is_up
        self.was_up = self.was_up or is_up
        self._events.on_connection(is_up)


class _Presence:
    """One rig's sign of the service: online while connected, offline by its will."""

    def __init__(self, settings: LinkSettings, rig: str) -> None:
        self._topic = topic_of(rig, "service")
        client = _make_client(settings)
        client.will_set(self._topic, encode(Service("offline")), qos=1, retain=True)
        client.on_connect = self._on_connect
        client.connect_async(settings.host, settings.port, keepalive=KEEPALIVE_S)
        client.loop_start()
        self._client = client

    def close(self) -> None:
        """Say offline and disconnect."""
        if self._client.is_connected():
            self._client.publish(self._topic, encode(Service("offline")), 1, True).wait_for_publish(GOODBYE_S)
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(
        self, client: Client, userdata: Any, flags: ConnectFlags, code: ReasonCode, properties: Properties | None
    ) -> None:
        if not code.is_failure:
            client.publish(self._topic, encode(Service("online")), 1, True)


def _make_client(settings: LinkSettings) -> Client:
    """A client with the service's log-in and patience."""
    client = Client(CallbackAPIVersion.VERSION2, clean_session=True)
    if settings.user is not None:
        client.username_pw_set(settings.user, settings.password)
    client.reconnect_delay_set(1, RETRY_S)
    client.max_inflight_messages_set(INFLIGHT)
    return client
