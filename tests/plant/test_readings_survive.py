"""Readings sent to a mill as it runs: whatever is killed meanwhile, none that was acknowledged is lost or doubled."""

import json
import os
import random
import signal
import sys
import threading
import time
import urllib.error
import urllib.request
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.plant.broker import PASSWORD, USER, Broker
from tests.plant.receiving import Listening, count, readings, sql, token_of
from tests.plant.sending import BEGIN_S, WET
from tests.plant.serving import Server, until

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")

LISTENS = "Listens to mill/#"
KILLS = 3
# The same moments in each run, as far as a machine allows.
CHANCE = random.Random(20261125)


def value_of(number: int) -> float:
    """Return the value of the reading of a number."""
    return 20 + number % 997 / 32


def as_stored(numbers: Any) -> list[tuple[str, int, float]]:
    """Return how the wet bulb of these numbers lies in the database."""
    return [("wet_bulb", BEGIN_S + number, value_of(number)) for number in sorted(numbers)]


def test_listening_follows_the_mill_takes_what_waited_and_ends_when_told(receiver: Server, broker: Broker) -> None:
    sql(receiver, "UPDATE plant_readingsource SET is_active = '0' WHERE code = 'loggers'")
    listening = Listening(receiver)
    sql(receiver, "UPDATE plant_readingsource SET is_active = '1' WHERE code = 'loggers'")
    listening.says(f"{LISTENS} at 127.0.0.1:{broker.port} for loggers.")
    # What has no time is heard on a connection of its own.
    listening.says("Hears what has no time on mill/#")
    topic = f"mill/{WET}"
    broker.publish([(topic, json.dumps({"at": BEGIN_S, "value": 40})), ("mill/no", b"x")])
    # Without a time: stored with the second in which it came.
    begun_s = int(time.time())
    broker.publish([(topic, b"41.5")], qos=0)
    until(lambda: count(receiver) == 2, "both are stored")
    assert listening.stop() == 0

    broker.publish([(topic, json.dumps({"at": BEGIN_S + 60, "value": 42}))] * 3)
    broker.publish([(topic, b"99")])
    listening = Listening(receiver)
    until(lambda: count(receiver) == 3, "what waited at the broker is stored")
    assert listening.stop() == 0
    first, second, heard = readings(receiver)
    assert (first[1:], second[1:], heard[2]) == ((BEGIN_S, 40), (BEGIN_S + 60, 42), 41.5)
    assert begun_s <= heard[1] <= time.time()
    assert sql(receiver, "SELECT file_name FROM plant_fileintake") == [("mill/no",)]


def test_a_wrong_password_is_said_and_tried_again(receiver: Server, broker: Broker) -> None:
    listening = Listening(receiver, password="wrong")
    listening.says("refuses the connection (Not authorized)")
    assert listening.process.poll() is None
    assert listening.stop() == 0


def test_serve_listens_as_long_as_a_source_wants_it(receiver: Server, broker: Broker) -> None:
    receiver.environ["KILNWARD_BROKER_PASSWORD"] = PASSWORD
    receiver.start()
    until(lambda: LISTENS.encode() in receiver.output.read_bytes(), "it listens")
    broker.publish([(f"mill/{WET}", json.dumps({"at": BEGIN_S, "value": 40}))])
    until(lambda: count(receiver) == 1, "it is stored")
    assert receiver.stop() == 0
    assert receiver.processes() == []


class Publisher(threading.Thread):
    """Publishes one reading after the other until it is told to end."""

    def __init__(self, port: int) -> None:
        super().__init__(daemon=True)
        self.ending = threading.Event()
        self.published = 0
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="publisher")
        self.client.username_pw_set(USER, PASSWORD)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def run(self) -> None:
        """Publish, each some milliseconds after the one before, and wait until the broker has them all."""
        sent = None
        while not self.ending.is_set():
            number = self.published
            payload = json.dumps({"at": BEGIN_S + number, "value": value_of(number)})
            sent = self.client.publish(f"mill/{WET}", payload, qos=1)
            self.published += 1
            time.sleep(0.004)
        assert sent is not None
        sent.wait_for_publish(30)
        self.client.disconnect()
        self.client.loop_stop()


def test_killing_what_listens_at_any_moment_loses_nothing_and_doubles_nothing(receiver: Server, broker: Broker) -> None:
    listening = Listening(receiver)
    listening.says(LISTENS)
    publisher = Publisher(broker.port)
    publisher.start()
    before = 0
    for _ in range(KILLS):
        until(lambda: count(receiver) > before, "readings come in")  # noqa: B023  called at once
        time.sleep(CHANCE.uniform(0, 0.4))
        listening.kill()
        before = count(receiver)
        listening = Listening(receiver)
    publisher.ending.set()
    publisher.join(60)
    assert publisher.published > before
    until(lambda: count(receiver) >= publisher.published, "all are stored")
    assert listening.stop() == 0
    assert readings(receiver) == as_stored(range(publisher.published))


class Sender(threading.Thread):
    """Sends bodies one after the other until it is told to end; one without an answer is sent again."""

    SIZE = 50

    def __init__(self, server: Server) -> None:
        super().__init__(daemon=True)
        self.url = f"http://127.0.0.1:{server.port}/api/readings"
        self.token = token_of(server)
        self.ending = threading.Event()
        self.acknowledged = 0
        self.without_answer = 0
        self.known = 0

    def run(self) -> None:
        """Send."""
        while not self.ending.is_set():
            first = self.acknowledged * self.SIZE
            items = [
                {"channel": WET, "at": BEGIN_S + number, "value": value_of(number)}
                for number in range(first, first + self.SIZE)
            ]
            try:
                answer = self.send({"readings": items})
            except (OSError, urllib.error.URLError):
                self.without_answer += 1
                time.sleep(0.05)
            else:
                assert answer["new"] + answer["known"] == self.SIZE
                self.known += answer["known"]
                self.acknowledged += 1

    def send(self, body: Any) -> Any:
        """Send a body and return what is said."""
        head = {"Content-Type": "application/json", "Authorization": f"Bearer {self.token}"}
        request = urllib.request.Request(self.url, json.dumps(body).encode(), head)
        with urllib.request.urlopen(request, timeout=30) as answer:
            return json.load(answer)


def web_processes(server: Server) -> list[int]:
    """Return the process of the web server that was started by ``serve``, and those it started."""
    assert server.process is not None
    first = server.children(server.process.pid)
    return [*first, *(pid for one in first for pid in server.children(one))]


def test_a_sender_of_much_hears_why_it_is_refused(receiver: Server) -> None:
    receiver.start("--no-worker")
    sender = Sender(receiver)
    sender.token = "not-a-token"
    # Far more than lies in buffers: a server that only answered and hung up would not be heard.
    for size in (8_000_000, 30_000_000):
        with pytest.raises(urllib.error.HTTPError) as refused:
            sender.send("x" * size)
        assert refused.value.code == 401
        assert "not known" in json.load(refused.value)["message"]
    assert receiver.stop() == 0


def test_killing_the_web_server_at_any_moment_loses_nothing_and_doubles_nothing(receiver: Server) -> None:
    receiver.start("--no-worker")
    sender = Sender(receiver)
    sender.start()
    for kill in range(KILLS):
        before = sender.acknowledged
        until(lambda: sender.acknowledged > before + 2, "readings come in")  # noqa: B023  called at once
        time.sleep(CHANCE.uniform(0, 0.3))
        lost = sender.without_answer
        # First one of those that answer, then all of them.
        for pid in web_processes(receiver)[-1:] if kill == 0 else web_processes(receiver):
            os.kill(pid, signal.SIGKILL)
        until(lambda: sender.without_answer > lost, "the kill is felt")  # noqa: B023  called at once
    before = sender.acknowledged
    until(lambda: sender.acknowledged > before + 2, "readings come in again")
    sender.ending.set()
    sender.join(60)
    assert receiver.stop() == 0
    stored = readings(receiver)
    # The last body may lie there without its answer; then it lies there whole.
    assert len(stored) in (sender.acknowledged * sender.SIZE, (sender.acknowledged + 1) * sender.SIZE)
    assert stored == as_stored(range(len(stored)))
