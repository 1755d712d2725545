"""The rig's connection to the broker; the only place of the device program that knows paho.

paho runs a thread of its own: every callback only hands over to the event loop.
"""

import asyncio
import logging
from collections.abc import Callable
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from rig.ports import LinkEvents
from rig.wire import State, encode, topic_of

log = logging.getLogger(__name__)
KEEPALIVE_S = 3
RETRY_S = 2
INFLIGHT = 100
LISTENS_TO = ("ack", "alarm", "service")


class MqttLink:
    """One rig's session with one broker, connected again after every break."""

    def __init__(self, rig: str, boot: str, *, host: str, port: int, user: str | None, password: str | None) -> None:
        self._rig = rig
        self._boot = boot
        self._host = host
        self._port = port
        self._events: LinkEvents | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._is_up = False
        self._is_lost = False
        self._is_closing = False
        self._is_refused = False
        client = Client(CallbackAPIVersion.VERSION2, client_id=f"calmpass-rig-{rig}-{boot[:8]}", clean_session=True)
        if user is not None:
            client.username_pw_set(user, password)
        client.will_set(topic_of(rig, "state"), encode(State("offline", boot)), qos=1, retain=True)
        client.reconnect_delay_set(1, RETRY_S)
        client.max_inflight_messages_set(INFLIGHT)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        self._client = client

    @property
    def is_up(self) -> bool:
        """Whether the broker can be reached now."""
        return self._is_up

    def open(self, events: LinkEvents) -> None:
        """Begin to connect in the background and stay connected."""
        self._events = events
        self._loop = asyncio.get_running_loop()
        self._client.connect_async(self._host, self._port, keepalive=KEEPALIVE_S)
        self._client.loop_start()

    def publish(self, stream: str, payload: bytes, *, is_retained: bool = False) -> None:
        """Hand one message to the broker, at least once."""
        self._client.publish(topic_of(self._rig, stream), payload, qos=1, retain=is_retained)

    def close(self) -> None:
        """Say offline, disconnect and end paho's thread."""
        self._is_closing = True
        if self._is_up:
            word = self._client.publish(topic_of(self._rig, "state"), encode(State("offline", self._boot)), 1, True)
            word.wait_for_publish(1.0)
        self._client.disconnect()
        self._client.loop_stop()

    def _hand_over(self, call: Callable[..., None], *values: Any) -> None:
        """Run a call on the event loop's thread; a loop that has ended wants no more."""
        if self._loop is not None and not self._loop.is_closed():
            try:
                self._loop.call_soon_threadsafe(call, *values)
            except RuntimeError:
                log.debug("the event loop ended while the broker still spoke")

    def _on_connect(
        self, client: Client, userdata: Any, flags: ConnectFlags, code: ReasonCode, properties: Properties | None
    ) -> None:
        if code.is_failure:
            self._hand_over(self._tell_refusal, str(code))
            return
        client.subscribe([(topic_of(self._rig, stream), 1) for stream in LISTENS_TO])
        client.publish(topic_of(self._rig, "state"), encode(State("online", self._boot)), 1, True)
        self._hand_over(self._tell_connection, True)

    def _on_connect_fail(self, client: Client, userdata: Any) -> None:
        self._hand_over(self._tell_connection, False)

    def _on_disconnect(
        self, client: Client, userdata: Any, flags: DisconnectFlags, code: ReasonCode, properties: Properties | None
    ) -> None:
        self._hand_over(self._tell_connection, False)

    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        self._hand_over(self._tell_message, message.topic, message.payload)

    def _tell_connection(self, is_up: bool) -> None:
        """Report a change of the connection, and log it once."""
        if not is_up and not self._is_lost and not self._is_closing:
            log.warning("no broker at %s:%d: samples wait in the spool; trying again", self._host, self._port)
        if is_up:
            self._is_refused = False
            log.info("connected to the broker at %s:%d", self._host, self._port)
        self._is_lost = not is_up
        self._is_up = is_up
        if self._events is not None:
            self._events.on_connection(is_up)

    def _tell_refusal(self, reason: str) -> None:
        """Report, once a change, that the broker does not let us in."""
        was_refused, self._is_refused = self._is_refused, True
        if self._events is not None and not was_refused:
            self._events.on_refusal(
                f"the broker at {self._host}:{self._port} refuses this rig ({reason}): check broker.user and "
                "broker.password_file"
            )

    def _tell_message(self, topic: str, payload: bytes) -> None:
        if self._events is not None:
            self._events.on_message(topic.rsplit("/", 1)[-1], payload)
