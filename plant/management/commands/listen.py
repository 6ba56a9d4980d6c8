"""``manage.py listen``: hears the readings that brokers pass on, and stores them."""

import signal
import threading
from argparse import ArgumentParser
from types import FrameType
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import Error as DatabaseFault
from django.db import connection

from plant.management.commands.serve import require_database
from plant.models import ReadingSource
from plant.readings.mqtt.listener import Listener

LOOK_EVERY_S = 5.0
# Longer than a broker that does not answer is waited for.
STOP_WITHIN_S = 15.0

Sources = dict[tuple[Any, ...], ReadingSource]


class Command(BaseCommand):
    """Listen to the brokers of all sources in use until stopped."""

    help = (
        "Hears the readings that brokers (MQTT) pass on and stores them, until it is told to end (Ctrl+C or SIGTERM)."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the source."""
        parser.add_argument("--source", metavar="CODE", help="only this source (default: all that are in use)")

    def handle(self, *args: Any, source: str | None, **options: Any) -> None:
        """Listen; what changes on the pages of the sources counts a few seconds later."""
        require_database()
        if source and not ReadingSource.objects.filter(code=source, way=ReadingSource.Way.BROKER).exists():
            raise CommandError(f"No source {source} listens to a broker: see the page of the sources.")
        stopping = threading.Event()
        listeners: dict[tuple[Any, ...], list[Listener]] = {}

        def note(number: int, frame: FrameType | None) -> None:
            stopping.set()

        before = {number: signal.signal(number, note) for number in (signal.SIGTERM, signal.SIGINT)}
        try:
            while not stopping.is_set():
                self.follow(listeners, wanted_sources(source))
                stopping.wait(LOOK_EVERY_S)
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)
            end([one for pair in listeners.values() for one in pair])

    def follow(self, listeners: dict[tuple[Any, ...], list[Listener]], wanted: Sources | None) -> None:
        """Start and end listeners so that there are those that are wanted. Raises CommandError where one broke down."""
        if any(not one.is_alive() for pair in listeners.values() for one in pair):
            raise CommandError("A listener broke down: see above.")
        if wanted is None:
            return
        for key in listeners.keys() - wanted.keys():
            end(listeners.pop(key))
        for key in wanted.keys() - listeners.keys():
            listeners[key] = [Listener(wanted[key], with_time=with_time, tell=self.tell) for with_time in (True, False)]
            for one in listeners[key]:
                one.start()

    def tell(self, text: str) -> None:
        """Say something at once."""
        self.stdout.write(text)
        self.stdout.flush()


def wanted_sources(code: str | None) -> Sources | None:
    """Return the sources to listen to, each by all that makes its connection; None where the database is away."""
    found = ReadingSource.objects.listening()
    if code:
        found = found.filter(code=code)
    try:
        return {
            (
                one.pk,
                one.code,
                one.broker_host,
                one.broker_port,
                one.broker_topic,
                one.broker_user,
                one.is_broker_encrypted,
            ): one
            for one in found
        }
    except DatabaseFault:
        connection.close()
        return None


def end(listeners: list[Listener]) -> None:
    """Let listeners store what they have, and end them."""
    for one in listeners:
        one.stop()
    for one in listeners:
        one.join(STOP_WITHIN_S)
