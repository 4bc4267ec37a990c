"""One connection to one broker, on paho-mqtt 2: MQTT 5 first, else 3.1.1; a network thread of its own.

The waits between tries grow and are random. What can't mend itself (a wrong password, a refused id) is said clearly and
tried again slowly. Messages are handed over as they come: nothing is done in the network thread.
"""

from __future__ import annotations

import contextlib
import json
import random
import time
from collections import deque
from collections.abc import Callable
from threading import Event, Lock, Thread
from typing import Any, NamedTuple

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from panelward.errors import EnvironmentFault
from panelward.link.credentials import certificate_wanted, login, tls, why_unreachable
from panelward.records import Broker
from panelward.records.topics import filter_is_valid, topic_is_valid

SESSION_S = 86_400  # a persistent session outlives a restart, not a lay-up
KEEPALIVE_S = 30
FIRST_WAIT_S, LONGEST_WAIT_S, HOPELESS_WAIT_S = 1.0, 60.0, 60.0
CLOSED_BEFORE_CONNACK = 2  # so often, and it is taken for a broker that speaks 3.1.1 only
RECEIVE_MAXIMUM = 65_535
MOST_WAITING = 10_000
SENT_KEPT = 500  # topics of what was published last, to name one that is refused

# Reason codes of MQTT 5.0 section 2.4 (and the 3.1.1 return codes paho maps to them) that a person must mend.
_BY_HAND = {
    0x84: "the broker does not speak this protocol version",
    0x85: "the broker does not accept this client id",
    0x86: "the broker refused user name or password: check username and password_file in [broker]",
    0x87: "the broker does not allow this client: check username and password_file in [broker], and its access list",
    0x8A: "the broker has banned this client",
    0x8C: "the broker does not accept this way to authenticate",
    0x8E: "another client took over this client id: is a second panelward running?",
}
_VERSION = 0x84


class Message(NamedTuple):
    """One message as it came."""

    topic: str
    payload: bytes
    retained: bool
    dup: bool
    response_topic: str | None
    correlation: bytes | None
    monotonic_s: float


class _Outgoing(NamedTuple):
    """One message to be published."""

    topic: str
    payload: bytes
    qos: int
    retain: bool
    until_s: float | None  # monotonic; not worth sending later
    response_topic: str | None
    correlation: bytes | None


class Link:
    """A connection that keeps itself up. Callbacks are called in its network thread: they must only hand over.

    `on_state(connected, why)` tells of every change and of every failed try. EnvironmentFault at the start where a file
    named in [broker] can't be used.
    """

    def __init__(
        self,
        broker: Broker,
        *,
        client_id: str,
        on_message: Callable[[Message], None] | None = None,
        on_state: Callable[[bool, str], None] | None = None,
        will: tuple[str, bytes] | None = None,
        log: Callable[[str], None] | None = None,
        persistent: bool = True,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._broker, self._client_id, self._will, self._persistent = broker, client_id, will, persistent
        self._on_message, self._on_state = on_message, on_state or (lambda _connected, _why: None)
        self._log, self._monotonic = log or (lambda _text: None), monotonic
        self._filters: tuple[tuple[str, int], ...] = ()
        self._asked: dict[int, tuple[tuple[str, int], ...]] = {}
        self._lock = Lock()
        self._stop, self._ended = Event(), Event()
        self._last: mqtt.MQTTMessageInfo | None = None
        self._settled = False  # a broker has taken us with `version`; until then a new client may replace the present one
        self._waiting: deque[_Outgoing] = deque(maxlen=MOST_WAITING)
        self._random = random.Random()
        self._closed_early = 0
        self._answered = False
        self._hopeless = False
        self.worth_waiting = True  # the last failure may be over with the next try, in seconds
        self._why = ""
        self._thread: Thread | None = None
        self.connected = False
        self.refused_filters: list[str] = []
        self.refused_topics: list[str] = []  # of what was published, each once
        self._sent: deque[tuple[int, str]] = deque(maxlen=SENT_KEPT)
        self.version = 5
        self._credentials = login(broker)
        self._tls = tls(broker)
        self._client = self._made()

    # Set up.

    def _made(self) -> mqtt.Client:
        protocol = mqtt.MQTTv5 if self.version == 5 else mqtt.MQTTv311
        clean: dict[str, Any] = {} if self.version == 5 else {"clean_session": not self._persistent}
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=self._client_id, protocol=protocol, reconnect_on_failure=False, **clean
        )
        client.on_connect, client.on_disconnect = self._connected, self._disconnected
        client.on_subscribe = self._subscribed
        client.on_message = self._received
        client.on_publish = self._published
        client.max_inflight_messages_set(1000)
        client.max_queued_messages_set(10_000)
        if self._credentials:
            client.username_pw_set(*self._credentials)
        if self._tls:
            client.tls_set_context(self._tls)
        if self._will:
            properties = None
            if self.version == 5:
                properties = Properties(PacketTypes.WILLMESSAGE)
                properties.WillDelayInterval = 5  # a short drop-out is no end
            client.will_set(self._will[0], self._will[1], qos=1, retain=True, properties=properties)
        return client

    def start(self) -> None:
        """Begin to connect, and go on until `stop`."""
        self._thread = Thread(target=self._run, name="link", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Send what was published last (for a moment), disconnect, end the threads."""
        if self.connected and self._last is not None:
            with contextlib.suppress(RuntimeError, ValueError):
                self._last.wait_for_publish(2.0)
        self._stop.set()
        self._ended.set()
        if self._thread is not None:
            self._thread.join(timeout=10.0)

    # Our thread keeps the connection up; paho's own thread, one a connection, moves the bytes.

    def _run(self) -> None:
        wait_s = FIRST_WAIT_S
        while not self._stop.is_set():
            self._answered = self._hopeless = False
            self._why = ""
            self._ended.clear()
            try:
                self._connect()
                self._client.loop_start()
                self._await_end()
                self._client.disconnect()
                self._client.loop_stop()
                self._close_wakers()
                if self._answered and not self._why:
                    wait_s = FIRST_WAIT_S
            except (OSError, ValueError) as error:
                self._why = f"{self._place} can't be reached: {why_unreachable(error)}"
                self._answered = True  # nobody was there to answer: no sign of an old broker
            if self._stop.is_set():
                return
            self._lost()
            self._stop.wait((HOPELESS_WAIT_S if self._hopeless else wait_s) * self._random.uniform(0.5, 1.5))
            wait_s = min(LONGEST_WAIT_S, wait_s * 2)

    def _close_wakers(self) -> None:
        """paho opens a new pair of sockets, to wake its thread, at each loop_start, and leaves the old one open.

        Whoever publishes meanwhile would write to the pair: not while it is closed.
        """
        with self._lock:
            for name in ("_sockpairR", "_sockpairW"):
                waker = getattr(self._client, name, None)
                if waker is not None:
                    waker.close()
                    setattr(self._client, name, None)

    def _await_end(self) -> None:
        begun = self._monotonic()
        while not self._ended.wait(1.0):
            if not self._answered and self._monotonic() - begun > KEEPALIVE_S:
                self._why = f"{self._place} took the connection and never answered"
                return
            # None once paho's thread has ended: not by a disconnect, or we had been told.
            if getattr(self._client, "_thread", None) is None and not self._ended.is_set():
                self._why = f"the connection to {self._place} broke down"
                return

    @property
    def _place(self) -> str:
        return f"the broker at {self._broker.host}:{self._broker.port}"

    def _connect(self) -> None:
        if self.version != 5:
            self._client.connect(self._broker.host, self._broker.port, KEEPALIVE_S)
            return
        properties = Properties(PacketTypes.CONNECT)
        properties.ReceiveMaximum = RECEIVE_MAXIMUM
        if self._persistent:
            properties.SessionExpiryInterval = SESSION_S
        self._client.connect(
            self._broker.host, self._broker.port, KEEPALIVE_S, clean_start=not self._persistent, properties=properties
        )

    def _lost(self) -> None:
        """The try or the connection is over: say so; where it looks like an old broker, fall back."""
        was = self.connected
        self.connected = False
        self.worth_waiting = not self._answered
        if not self._answered:
            self._closed_early += 1
            self._why = self._why or f"{self._place} closed the connection before it answered{certificate_wanted(self._broker)}"
        self._on_state(False, self._why or (f"{self._place} closed the connection" if was else ""))
        # A broker that has spoken 5 and now closes early is starting or ending, and no old one.
        if self.version == 5 and self._closed_early >= CLOSED_BEFORE_CONNACK and not self._settled:
            self._fall_back("it closed the connection twice before it answered")

    def _fall_back(self, why: str) -> None:
        if self.version == 5:
            self.version = 4
            self._log(f"{self._place}: no MQTT 5 ({why}); going on with MQTT 3.1.1")
            with self._lock:
                self._client = self._made()

    # What paho tells.

    def _connected(self, _client: Any, _userdata: Any, _flags: Any, reason: Any, _properties: Any = None) -> None:
        self._answered = True
        self._closed_early = 0
        if reason.is_failure:
            code = int(reason.value)
            if code == _VERSION and self.version == 5:
                self._why = f"{self._place} refused MQTT 5"
                self._closed_early = CLOSED_BEFORE_CONNACK
                self._answered = self._settled = False
                return
            self._hopeless = code in _BY_HAND
            self._why = f"{self._place}: {_BY_HAND.get(code, str(reason))}"
            return
        with self._lock:
            self._settled = self.connected = True
            self._ask()
            while self._waiting:
                self._send(self._waiting.popleft())
        self._on_state(True, f"MQTT {'5' if self.version == 5 else '3.1.1'}")

    def _disconnected(self, _client: Any, _userdata: Any, _flags: Any, reason: Any, _properties: Any = None) -> None:
        self._ended.set()
        code = int(getattr(reason, "value", 0) or 0)
        if code in _BY_HAND and not self._why:
            self._why = f"{self._place}: {_BY_HAND[code]}"
            self._hopeless = code == 0x8E

    def subscribe(self, filters: tuple[tuple[str, int], ...]) -> None:
        """The filters wanted from now on, each with its QoS; kept, and asked for anew at each connection."""
        bad = [text for text, _ in filters if not filter_is_valid(text)]
        if bad:
            raise EnvironmentFault(f"'{bad[0]}' is no MQTT topic filter")
        with self._lock:
            old = [text for text, _ in self._filters if text not in [new for new, _ in filters]]
            self._filters = filters
            if self.connected:
                for text in old:
                    self._client.unsubscribe(text)
                self._ask()

    def _ask(self) -> None:
        if not self._filters:
            return
        self.refused_filters = []
        _, number = self._client.subscribe(list(self._filters))
        if number is not None:
            self._asked[number] = self._filters

    def _subscribed(self, _client: Any, _userdata: Any, number: int, reasons: Any, _properties: Any = None) -> None:
        with self._lock:  # _ask has noted the number by now
            asked = self._asked.pop(number, ())
        for (text, _), reason in zip(asked, reasons, strict=False):
            if reason.value >= 0x80:
                self.refused_filters.append(text)
                self._log(
                    f"{self._place} refused the subscription to '{text}' ({reason}): nothing of it will be seen. "
                    "Allow this client to read it in the broker's access list."
                )

    def _published(self, _client: Any, _userdata: Any, number: int, reason: Any, _properties: Any = None) -> None:
        """paho holds its own lock meanwhile, and whoever publishes holds ours and waits for that: none is taken here."""
        if reason.value < 0x80:
            return
        topic = next((topic for at, topic in reversed(list(self._sent)) if at == number), "")
        named = f"'{topic}'" if topic else "something that was published"
        user = f"user '{self._broker.username}'" if self._broker.username else "this client"
        self._refused(
            topic,
            f"{self._place} refused {named} ({reason}): nobody gets it by MQTT. "
            f"Allow {user} to write it in the broker's access list.",
        )

    def _refused(self, topic: str, why: str) -> None:
        """Said once a topic."""
        if topic in self.refused_topics:
            return
        if len(self.refused_topics) < SENT_KEPT:
            self.refused_topics.append(topic)
        self._log(why)

    def _received(self, _client: Any, _userdata: Any, message: Any) -> None:
        if self._on_message is None:
            return
        properties = message.properties if self.version == 5 else None
        response = getattr(properties, "ResponseTopic", None) if properties is not None else None
        correlation = getattr(properties, "CorrelationData", None) if response is not None else None
        try:
            self._on_message(
                Message(
                    message.topic, message.payload, bool(message.retain), bool(message.dup), response, correlation,
                    self._monotonic(),
                )
            )  # fmt: skip
        except Exception as error:  # a topic that is not UTF-8, a fault of the receiver: it must not end paho's thread
            self._log(f"{self._place}: a message could not be handed over: {type(error).__name__}: {error}")

    # Out.

    def publish(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 1,
        retain: bool = False,
        expiry_s: int | None = None,
        response_topic: str | None = None,
        correlation: bytes | None = None,
    ) -> None:
        """Publish, or queue until connected (bounded, the oldest go first; QoS 0 is not queued).

        A topic that can't be published to is said and dropped: a broker would close the connection over it, each time anew.
        """
        if not topic_is_valid(topic):
            self._refused(topic, f"{topic[:200]!r} can't be published: it is no MQTT topic")
            return
        if qos == 0 and not self.connected:
            return
        until_s = None if expiry_s is None else self._monotonic() + expiry_s
        message = _Outgoing(topic, payload, qos, retain, until_s, response_topic, correlation)
        with self._lock:
            if self._settled:
                self._send(message)
            else:
                self._waiting.append(message)

    def _send(self, message: _Outgoing) -> None:
        left_s = None if message.until_s is None else round(message.until_s - self._monotonic())
        if left_s is not None and left_s <= 0:
            return
        properties = Properties(PacketTypes.PUBLISH) if self.version == 5 else None
        if properties is not None:
            if left_s is not None:
                properties.MessageExpiryInterval = left_s
            if message.response_topic is not None:
                properties.ResponseTopic = message.response_topic
            if message.correlation is not None:
                properties.CorrelationData = message.correlation
        info = self._client.publish(message.topic, message.payload, message.qos, message.retain, properties)
        if message.qos > 0:
            self._sent.append((info.mid, message.topic))
            self._last = info


def request(broker: Broker, topic: str, body: dict[str, Any], *, timeout_s: float, client_id: str) -> dict[str, Any] | None:
    """Ask over MQTT and await one answer as JSON; None where none came. EnvironmentFault where the broker can't be used."""
    reply_to = f"panelward/reply/{client_id}"
    answers: list[dict[str, Any]] = []
    came, up = Event(), Event()
    trouble: list[str] = []

    def took(message: Message) -> None:
        try:
            found = json.loads(message.payload)
        except ValueError:
            return
        if isinstance(found, dict) and found.get("id") in (body.get("id"), ""):
            answers.append(found)
            came.set()

    def state(connected: bool, why: str) -> None:
        if connected:
            up.set()
        elif why:
            trouble.append(why)

    said: list[str] = []
    link = Link(broker, client_id=client_id, on_message=took, on_state=state, log=said.append, persistent=False)
    link.subscribe(((reply_to, 1),))
    link.start()
    try:
        begun = time.monotonic()
        while not up.wait(0.05):
            # Only a broker that closes without a word may take us with the next try: it may want 3.1.1.
            if time.monotonic() - begun > timeout_s or (trouble and not link.worth_waiting):
                raise EnvironmentFault(trouble[-1] if trouble else f"no answer from the broker at {broker.host}:{broker.port}")
        payload = json.dumps(body | {"reply_to": reply_to}).encode()
        said.clear()  # of versions, on the way up; from here on of refusals
        link.publish(topic, payload, qos=1, expiry_s=max(1, round(timeout_s)), response_topic=reply_to)
        begun = time.monotonic()
        while not came.wait(0.05) and time.monotonic() - begun < timeout_s:
            if said:
                raise EnvironmentFault(said[0])
    finally:
        link.stop()
    return answers[0] if answers else None
