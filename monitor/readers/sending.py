"""From the outbox to the broker at QoS 1; a message leaves the outbox only once the broker has acknowledged it."""

from __future__ import annotations

import logging
import socket
import ssl
import threading
from typing import Any

from paho.mqtt.client import Client, MQTTMessageInfo, MQTTProtocolVersion
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from monitor.errors import StoreError
from monitor.intake.connection import credentials
from monitor.readers.outbox import Outbox
from monitor.site import Broker

logger = logging.getLogger(__name__)
UNDER_WAY = 100
TICK_S = 0.1


class OutboxSender:
    """Sends what is in an outbox for as long as it runs; a broker that is away is tried again with growing pauses."""

    def __init__(self, broker: Broker, outbox: Outbox) -> None:
        """Set up the client.

        Raises
        ------
        ReadingError
            The environment does not hold what the site file names.
        """
        self._broker, self._outbox = broker, outbox
        self._stop = threading.Event()
        self._said = ""
        self._client = self._set_up()
        self._thread = threading.Thread(target=self._run, name="outbox", daemon=True)

    def _set_up(self) -> Client:
        broker = self._broker
        version = MQTTProtocolVersion.MQTTv5 if broker.protocol == "5" else MQTTProtocolVersion.MQTTv311
        name = f"{broker.client_id[:24]}-read-{socket.gethostname()[:32]}"
        client = Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=version)
        if broker.username_env:
            client.username_pw_set(*credentials(broker))
        if broker.tls:
            client.tls_set(ca_certs=broker.ca_file, cert_reqs=ssl.CERT_REQUIRED)
        client.reconnect_delay_set(1, 60)
        client.max_inflight_messages_set(UNDER_WAY)
        client.on_connect = self._on_connect
        client.on_connect_fail = lambda *_: self._say("cannot be reached")
        client.on_disconnect = self._on_disconnect
        return client

    def start(self) -> None:
        """Connect in the background and begin to send."""
        self._client.connect_async(self._broker.host, self._broker.port, self._broker.keepalive_s)
        self._client.loop_start()
        self._thread.start()

    def stop(self) -> None:
        """Say goodbye; what the broker has not acknowledged stays in the outbox."""
        self._stop.set()
        self._thread.join(5)
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        under_way: list[tuple[int, MQTTMessageInfo]] = []
        newest = 0
        while not self._stop.is_set():
            try:
                arrived = [number for number, info in under_way if info.is_published()]
                if arrived:
                    self._outbox.done(arrived)
                    under_way = [(n, info) for n, info in under_way if n not in set(arrived)]
                room = UNDER_WAY - len(under_way) if self._client.is_connected() else 0
                messages = self._outbox.after(newest, room) if room else []
                for number, topic, payload in messages:
                    under_way.append((number, self._client.publish(topic, payload, qos=1)))
                    newest = number
            except StoreError as error:
                logger.warning("%s", error)
                messages = []
            self._stop.wait(0.005 if len(messages) > 1 else TICK_S)

    def _on_connect(self, _client: Any, _data: Any, _flags: Any, code: ReasonCode, _properties: Any) -> None:
        if code.is_failure:
            self._say(f"refuses the connection: {code.getName()}")
        else:
            self._said = ""
            logger.info("connected to %s; %d messages wait", self._where, self._outbox.waiting)

    def _on_disconnect(self, _client: Any, _data: Any, _flags: Any, code: ReasonCode, _props: Any) -> None:
        if code.is_failure and not self._said:
            self._say("is gone")

    @property
    def _where(self) -> str:
        return f"broker {self._broker.host}:{self._broker.port}"

    def _say(self, what: str) -> None:
        """Say once what keeps the messages waiting, not at every try."""
        if what != self._said:
            self._said = what
            logger.warning("%s %s; readings are kept on disk and sent later", self._where, what)
