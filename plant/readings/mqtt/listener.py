"""Listening to a broker (MQTT 3.1.1): what is stored is acknowledged, and nothing else.

Two connections for each source. One has a session that the broker keeps, takes what says its own time, and acknowledges
it once it is stored for good: what is not acknowledged comes again, and storing it again changes nothing. The other
hears what does not say its time: that is worth something only while it is heard, so nothing of it may wait at the
broker, or come twice.
"""

import logging
import os
import random
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
import paho.mqtt.client as mqtt
from django.conf import settings
from django.db import InterfaceError, OperationalError, close_old_connections, connection, transaction
from django.utils.crypto import salted_hmac
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from plant import clock
from plant.basics.sentences import Sentence
from plant.models import ReadingSource
from plant.readings.calculations.sent_readings import Sent
from plant.readings.channel_names import names_of
from plant.readings.mqtt.messages import Message, Refused, RefusedMessageError, keep_refused, read_message
from plant.readings.taking_in import ReadingFault, take_in

logger = logging.getLogger(__name__)

MOST_AT_ONCE: Final = 500
LONGEST_WAIT_S: Final = 0.5
# Brokers send only so many messages (often 20) before they want them acknowledged: silence means that they wait.
SILENCE_S: Final = 0.02
KEEPALIVE_S: Final = 30
FIRST_PAUSE_S: Final = 1.0
LONGEST_PAUSE_S: Final = 60.0
# A connection that held so long was a good one: the next pause is short again.
GOOD_AFTER_S: Final = 60.0


def password_variable(code: str) -> str:
    """Return the name under which the environment holds the password for a source's broker."""
    return f"KILNWARD_BROKER_PASSWORD_{code.upper().replace('-', '_')}"


def broker_password(code: str) -> str | None:
    """Return the password for a source's broker, its own or that for all; None where there is none."""
    return os.environ.get(password_variable(code)) or os.environ.get("KILNWARD_BROKER_PASSWORD") or None


def client_id(source: ReadingSource, *, with_time: bool) -> str:
    """Return the name at the broker: always the same for a source of this mill, and no other mill's."""
    mill = salted_hmac("plant.mqtt_listener", settings.SECRET_KEY).hexdigest()[:6]
    return f"kilnward-{source.code}-{mill}{'' if with_time else '-live'}"


class Listener(threading.Thread):
    """One connection to the broker of a source, made anew whenever it is lost."""

    def __init__(self, source: ReadingSource, *, with_time: bool, tell: Callable[[str], None]) -> None:
        super().__init__(name=f"listener {source.code}", daemon=True)
        self.source = source
        self.with_time = with_time
        self.tell = tell
        self.stopping = threading.Event()
        self.waiting: list[Message] = []
        self.waiting_since = 0.0
        self.pause_s = FIRST_PAUSE_S
        self.store_not_before = 0.0
        self.store_pause_s = FIRST_PAUSE_S
        self.refusal = ""
        self.client = self._new_client()

    @property
    def where(self) -> str:
        """Return the broker's address."""
        return f"{self.source.broker_host}:{self.source.broker_port}"

    def stop(self) -> None:
        """Ask it to store what it has and end."""
        self.stopping.set()

    def run(self) -> None:
        """Listen until it is asked to stop."""
        try:
            while not self.stopping.is_set():
                begun = time.monotonic()
                trouble = self._listen()
                if self.stopping.is_set():
                    break
                if time.monotonic() - begun > GOOD_AFTER_S:
                    self.pause_s = FIRST_PAUSE_S
                logger.warning("Broker %s of %s: %s. Tried again.", self.where, self.source.code, trouble)
                # Not all listeners of a mill at the same moment.
                self.stopping.wait(self.pause_s * random.uniform(0.7, 1.0))  # noqa: S311  no secret
                self.pause_s = min(self.pause_s * 2, LONGEST_PAUSE_S)
        finally:
            connection.close()

    def _new_client(self) -> mqtt.Client:
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id(self.source, with_time=self.with_time),
            clean_session=not self.with_time,
            protocol=mqtt.MQTTv311,
            manual_ack=True,
        )
        if self.source.broker_user:
            client.username_pw_set(self.source.broker_user, broker_password(self.source.code))
        if self.source.is_broker_encrypted:
            client.tls_set(ca_certs=os.environ.get("KILNWARD_BROKER_CA") or None)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    def _listen(self) -> str:
        """Connect and listen; return why it ended."""
        # A new client for each connection: nothing of the last one, such as a number of a message, is left.
        self.client = self._new_client()
        self.refusal = ""
        try:
            self.client.connect(self.source.broker_host, self.source.broker_port, keepalive=KEEPALIVE_S)
        except (OSError, ValueError) as fault:
            return f"no connection ({fault})"
        try:
            while not self.stopping.is_set() and not self.refusal:
                count = len(self.waiting)
                state = self.client.loop(SILENCE_S)
                if state != mqtt.MQTT_ERR_SUCCESS:
                    return self.refusal or f"the connection was lost ({mqtt.error_string(state)})"
                if self._is_time_to_store(is_silent=len(self.waiting) == count):
                    self._store()
            return self.refusal
        finally:
            # What is not acknowledged comes again, what is known already is known: storing is right in any case.
            self._store()
            self.waiting = []
            self.client.disconnect()

    def _on_connect(
        self, client: mqtt.Client, userdata: Any, flags: Any, reason: ReasonCode, properties: Any = None
    ) -> None:
        if reason.is_failure:
            self.refusal = f"it refuses the connection ({reason})"
            return
        client.subscribe(self.source.broker_topic, qos=1 if self.with_time else 0)

    def _on_subscribe(
        self, client: mqtt.Client, userdata: Any, mid: int, reasons: list[ReasonCode], properties: Any = None
    ) -> None:
        if any(reason.is_failure for reason in reasons):
            self.refusal = f"it refuses the topic {self.source.broker_topic}"
        else:
            doing = "Listens to" if self.with_time else "Hears what has no time on"
            self.tell(f"{doing} {self.source.broker_topic} at {self.where} for {self.source.code}.")

    def _on_message(self, client: mqtt.Client, userdata: Any, message: mqtt.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = "?"
        if not self.waiting:
            self.waiting_since = time.monotonic()
        moment = clock.now().timestamp()
        self.waiting.append(Message(topic, bytes(message.payload), moment, message.mid, message.retain))

    def _is_time_to_store(self, *, is_silent: bool) -> bool:
        moment = time.monotonic()
        if not self.waiting or moment < self.store_not_before:
            return False
        return is_silent or len(self.waiting) >= MOST_AT_ONCE or moment - self.waiting_since >= LONGEST_WAIT_S

    def _store(self) -> None:
        """Store what waits, then acknowledge it; where the database does not answer, all of it goes on waiting."""
        if not self.waiting:
            return
        try:
            close_old_connections()
            store(self.source, self.waiting, with_time=self.with_time)
        except (OperationalError, InterfaceError) as fault:
            logger.warning("Readings of %s wait: the database does not answer (%s).", self.source.code, fault)
            connection.close()
            self.store_not_before = time.monotonic() + self.store_pause_s
            self.store_pause_s = min(self.store_pause_s * 2, LONGEST_PAUSE_S)
            return
        stored, self.waiting = self.waiting, []
        self.store_pause_s = FIRST_PAUSE_S
        for message in stored:
            # What was sent without asking for an acknowledgement has no number.
            if message.mid:
                self.client.ack(message.mid, 1)


def store(source: ReadingSource, messages: Sequence[Message], *, with_time: bool) -> None:
    """Store the readings of messages, and why some were refused; all in one transaction."""
    names = names_of(source)
    read: list[tuple[Message, Sent]] = []
    refused: list[Refused] = []
    for message in messages:
        try:
            sent = read_message(message, names, with_time=with_time)
        except RefusedMessageError as fault:
            refused.append(Refused(message, fault.faults))
        else:
            if sent is not None:
                read.append((message, sent))
    with transaction.atomic():
        refused += _take_in(source, read)
        if refused:
            keep_refused(source, refused)


def _take_in(source: ReadingSource, read: Sequence[tuple[Message, Sent]]) -> list[Refused]:
    """Take readings in together; one by one where together they are refused, so that only the faulty are."""
    if not read:
        return []
    parts = [sent for _, sent in read]
    channel_id, at_s, value = (
        np.concatenate([getattr(part, name) for part in parts]) for name in ("channel_id", "at_s", "value")
    )
    try:
        take_in(channel_id, at_s, value, source=source)
    except ReadingFault as fault:
        if len(read) == 1:
            reasons = tuple(Sentence.of("message.fault", reason=one) for one in fault.faults)
            return [Refused(read[0][0], reasons)]
        return [one for pair in read for one in _take_in(source, [pair])]
    return []
