"""One connection to the broker: a paho client set up for durable intake, driven by the caller's own loop."""

from __future__ import annotations

import os
import select
import ssl
import time
from collections.abc import Callable, Sequence
from typing import Any

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTMessage, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from monitor.errors import ReadingError
from monitor.site import Broker

CONNECT_TIMEOUT_S = 5.0
GOODBYE_S = 2.0
LARGEST_WINDOW = 65_535
_FILTERS_A_PACKET = 100
_REFUSED_PASSWORD = frozenset({"Bad user name or password", "Not authorized", "Banned"})
_REFUSED_VERSION = "Unsupported protocol version"


class Connection:
    """A client session that outlives its connection (clean start off), acknowledging only by `acknowledge`.

    ``window`` is the MQTT 5 Receive Maximum: how many messages the broker may have under way at once.  MQTT 3.1.1
    has no such word, and brokers use a small number of their own.
    """

    def __init__(
        self,
        broker: Broker,
        filters: Sequence[str],
        protocol: MQTTProtocolVersion,
        on_message: Callable[[MQTTMessage], None],
        client_id: str,
        window: int,
        will: tuple[str, bytes] | None = None,
    ) -> None:
        self._broker, self._filters, self._window = broker, filters, min(window, LARGEST_WINDOW)
        self._will = will
        self.protocol = protocol
        self.ready = False
        self.refusal = ""
        self.refused_version = self.refused_password = False
        self.answered = False
        self._client = self._set_up(client_id)
        self._client.on_message = lambda _client, _data, message: on_message(message)

    def _set_up(self, client_id: str) -> Client:
        more: dict[str, Any] = {} if self.protocol == MQTTProtocolVersion.MQTTv5 else {"clean_session": False}
        client = Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, protocol=self.protocol, manual_ack=True, **more
        )
        client.connect_timeout = CONNECT_TIMEOUT_S
        client.suppress_exceptions = False
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        # With this set, paho leaves writing to us, so acknowledgements of a batch go out together.
        client.on_socket_register_write = lambda *_: None
        if self._broker.username_env:
            client.username_pw_set(*credentials(self._broker))
        if self._broker.tls:
            client.tls_set(ca_certs=self._broker.ca_file, cert_reqs=ssl.CERT_REQUIRED)
        if self._will is not None:
            client.will_set(*self._will, qos=1, retain=True)
        return client

    def open(self) -> None:
        """Connect to the broker; its answer comes later, to `read`.

        Raises
        ------
        OSError
            The broker cannot be reached, or its certificate does not match.
        """
        more: dict[str, Any] = {}
        if self.protocol == MQTTProtocolVersion.MQTTv5:
            properties = Properties(PacketTypes.CONNECT)
            properties.SessionExpiryInterval = self._broker.session_expiry_s
            properties.ReceiveMaximum = self._window
            more = {"clean_start": False, "properties": properties}
        self._client.connect(self._broker.host, self._broker.port, self._broker.keepalive_s, **more)

    def _on_connect(
        self, client: Client, _data: Any, _flags: Any, code: ReasonCode, _properties: Any
    ) -> None:
        self.answered = True
        if code.is_failure:
            name = code.getName()
            self.refused_version = name == _REFUSED_VERSION
            self.refused_password = name in _REFUSED_PASSWORD
            self.refusal = f"the broker refuses the connection: {name}"
            return
        for first in range(0, len(self._filters), _FILTERS_A_PACKET):
            client.subscribe(
                [self._subscription(f) for f in self._filters[first : first + _FILTERS_A_PACKET]]
            )
        self.ready = True

    def _subscription(self, topic_filter: str) -> Any:
        if self.protocol != MQTTProtocolVersion.MQTTv5:
            return (topic_filter, 1)
        # Retained messages only for a new subscription, so that a reconnect does not replay them.
        return (topic_filter, SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB))

    def _on_subscribe(
        self, _client: Client, _data: Any, _mid: int, codes: list[ReasonCode], _props: Any
    ) -> None:
        failed = [code.getName() for code in codes if code.is_failure]
        if failed:
            self.refusal = f"the broker refuses a subscription: {failed[0]}"

    @property
    def socket(self) -> Any:
        """The socket, or None once the connection is gone."""
        return self._client.socket()

    @property
    def wants_to_write(self) -> bool:
        return self._client.want_write()

    def read(self) -> bool:
        """Take in one packet, if one is there; False once the connection is gone."""
        return self._client.loop_read() == 0 and self._client.socket() is not None

    def write(self) -> bool:
        """Send what waits to be sent; False once the connection is gone."""
        return self._client.loop_write() == 0 and self._client.socket() is not None

    def keep_alive(self) -> bool:
        """Ping where it is time to; False once the connection is gone."""
        return self._client.loop_misc() == 0 and self._client.socket() is not None

    def acknowledge(self, messages: Sequence[tuple[int, int]]) -> bool:
        """Acknowledge messages by (id, QoS) and send that; False once the connection is gone."""
        for message_id, qos in messages:
            self._client.ack(message_id, qos)
        return self.write()

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> None:
        """Publish at QoS 0 over this connection."""
        self._client.publish(topic, payload, qos=0, retain=retain)

    def close(self) -> None:
        """Say goodbye and let go of the socket; the session stays with the broker.

        A broker that is slow to read is given a little time, so that it gets the acknowledgements that go before.
        """
        self._client.disconnect()
        deadline = time.monotonic() + GOODBYE_S
        while self.socket is not None and self.wants_to_write and time.monotonic() < deadline:
            poll = select.poll()
            poll.register(self.socket, select.POLLOUT)
            poll.poll(100)
            if not self.write():
                return
        # paho closes the socket itself when the goodbye has gone out, or else when the client is collected.


def credentials(broker: Broker) -> tuple[str, str | None]:
    """The user name and password that the environment holds for a broker.

    Raises
    ------
    ReadingError
        The environment does not hold what the site file names.
    """
    values: list[str | None] = []
    for name in (broker.username_env, broker.password_env):
        if name is not None and name not in os.environ:
            raise ReadingError(
                f"the site file names the environment variable {name} for the broker; it is not set"
            )
        values.append(os.environ[name] if name is not None else None)
    return values[0] or "", values[1]
