"""What listens to a broker: whom it listens for, and the order of storing and acknowledging."""

import threading
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import OperationalError
from paho.mqtt.enums import CallbackAPIVersion

from plant.background.supervise import Child, Supervisor
from plant.models import ReadingSource
from plant.readings.mqtt import listener as mqtt_listener
from plant.readings.mqtt.listener import Listener, broker_password, client_id
from plant.readings.mqtt.messages import Message


@pytest.mark.django_db
def test_a_source_that_listens_to_no_broker_is_named() -> None:
    ReadingSource.objects.create(code="files", name="Files", way="files")
    for code in ("files", "none"):
        with pytest.raises(CommandError, match=f"No source {code} listens to a broker"):
            call_command("listen", source=code)


@pytest.mark.django_db
def test_only_sources_in_use_with_an_address_are_listened_to() -> None:
    whole = {"way": "broker", "broker_host": "h", "broker_topic": "t"}
    for code, change in {"a": {}, "b": {"is_active": False}, "c": {"way": "sends"}, "d": {"broker_host": ""}}.items():
        ReadingSource.objects.create(code=code, name=code, **{**whole, **change})
    assert [source.code for source in ReadingSource.objects.listening()] == ["a"]


def test_the_password_comes_from_the_environment_of_the_source_or_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    assert broker_password("kiln-a") is None
    monkeypatch.setenv("KILNWARD_BROKER_PASSWORD", "for all")
    monkeypatch.setenv("KILNWARD_BROKER_PASSWORD_KILN_A", "for one")
    assert (broker_password("kiln-a"), broker_password("kiln-b")) == ("for one", "for all")


class FakeClient:
    """A connection that only notes what is acknowledged."""

    def __init__(self) -> None:
        self.acknowledged: list[int] = []

    def ack(self, mid: int, qos: int) -> None:
        """Note it."""
        self.acknowledged.append(mid)


@pytest.fixture
def listener(monkeypatch: pytest.MonkeyPatch) -> Listener:
    """Give a listener that is not started, with three messages of which one asks for no acknowledgement."""
    source = ReadingSource(pk=1, code="loggers", way="broker", broker_host="h", broker_topic="t")
    found = Listener(source, with_time=True, tell=print)
    found.client = FakeClient()  # type: ignore[assignment]
    found.waiting = [Message("t", b"1", 0, mid) for mid in (7, 0, 8)]
    monkeypatch.setattr(mqtt_listener, "close_old_connections", lambda: None)
    return found


def acknowledged(listener: Listener) -> list[int]:
    assert isinstance(listener.client, FakeClient)
    return listener.client.acknowledged


def test_messages_are_acknowledged_after_they_are_stored_and_not_before(
    listener: Listener, monkeypatch: pytest.MonkeyPatch
) -> None:
    def look(source: Any, messages: list[Message], **options: Any) -> None:
        assert acknowledged(listener) == []
        assert len(messages) == 3

    monkeypatch.setattr(mqtt_listener, "store", look)
    listener._store()
    assert acknowledged(listener) == [7, 8]
    assert listener.waiting == []


def test_while_the_database_is_away_nothing_is_acknowledged_and_everything_waits(
    listener: Listener, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*arguments: Any, **options: Any) -> None:
        raise OperationalError("server closed the connection")

    monkeypatch.setattr(mqtt_listener, "connection", type("Connection", (), {"close": lambda: None}))
    with monkeypatch.context() as patch:
        patch.setattr(mqtt_listener, "store", away)
        listener._store()
        assert acknowledged(listener) == []
        assert not listener._is_time_to_store(is_silent=True)
        listener.store_not_before = 0
        assert listener._is_time_to_store(is_silent=True)
        pause = listener.store_pause_s
        listener._store()
        assert listener.store_pause_s > pause
    monkeypatch.setattr(mqtt_listener, "store", lambda *arguments, **options: None)
    listener._store()
    assert acknowledged(listener) == [7, 8]


def test_it_waits_for_silence_for_a_full_batch_or_for_half_a_second(listener: Listener) -> None:
    listener.waiting_since = mqtt_listener.time.monotonic() + 100
    assert listener._is_time_to_store(is_silent=True)
    assert not listener._is_time_to_store(is_silent=False)
    listener.waiting *= mqtt_listener.MOST_AT_ONCE
    assert listener._is_time_to_store(is_silent=False)
    listener.waiting = listener.waiting[:1]
    listener.waiting_since -= 101
    assert listener._is_time_to_store(is_silent=False)
    listener.waiting = []
    assert not listener._is_time_to_store(is_silent=True)


def test_the_two_connections_have_steady_names_and_only_one_keeps_its_session(listener: Listener) -> None:
    names = {with_time: client_id(listener.source, with_time=with_time) for with_time in (True, False)}
    assert names[True].startswith("kilnward-loggers-")
    assert names[False] == f"{names[True]}-live"
    assert names[True] == client_id(listener.source, with_time=True)
    clients = [Listener(listener.source, with_time=one, tell=print).client for one in (True, False)]
    assert [client._clean_session for client in clients] == [False, True]
    assert all(client._manual_ack for client in clients)
    assert {client._callback_api_version for client in clients} == {CallbackAPIVersion.VERSION2}


def test_a_broker_that_is_away_is_tried_again_after_longer_and_longer_pauses(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    source = ReadingSource(pk=1, code="loggers", way="broker", broker_host="127.0.0.1", broker_port=1, broker_topic="t")
    found = Listener(source, with_time=True, tell=print)
    pauses: list[float] = []

    def wait(seconds: float) -> None:
        pauses.append(seconds)
        if len(pauses) == 9:
            found.stop()

    monkeypatch.setattr(found.stopping, "wait", wait)
    monkeypatch.setattr(mqtt_listener, "connection", type("Connection", (), {"close": lambda: None}))
    monkeypatch.setattr(mqtt_listener.random, "uniform", lambda low, high: high)
    thread = threading.Thread(target=found.run)
    thread.start()
    thread.join(30)
    assert pauses == [1, 2, 4, 8, 16, 32, 60, 60, 60]
    assert "no connection" in caplog.text


class FakeChild(Child):
    """A process that is only counted."""

    ended = True
    asked = 0

    def start(self) -> None:
        """Count."""
        self.starts += 1
        self.ended = False

    def has_ended(self) -> bool:
        """Say what the test wants."""
        return self.ended

    def ask_to_end(self) -> None:
        """Count."""
        self.asked += 1

    def end(self) -> None:
        """Do nothing."""


@pytest.mark.django_db
def test_the_server_starts_a_listener_only_while_a_source_wants_it(monkeypatch: pytest.MonkeyPatch) -> None:
    child = FakeChild("listener")
    supervisor = Supervisor(None, None, lambda: True, lambda: True, child)
    moment = [1000.0]
    monkeypatch.setattr("plant.background.supervise.time.monotonic", lambda: moment[0])

    def look(seconds: float) -> tuple[int, int]:
        moment[0] += seconds
        supervisor._look_at_listener()
        return child.starts, child.asked

    assert look(0) == (0, 1)
    source = ReadingSource.objects.create(code="a", name="a", way="broker", broker_host="h", broker_topic="t")
    # It looks at each heartbeat only.
    assert look(1) == (0, 1)
    assert look(10) == (1, 1)
    assert look(10) == (1, 1)
    child.ended = True
    assert look(10) == (2, 1)
    source.is_active = False
    source.save()
    assert look(10) == (2, 2)
