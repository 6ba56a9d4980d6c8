"""Run as ``python -m tests.plant.reading_driver PORT`` with a test server's environment: makes a mill that readings are
sent to, with a source that sends and one that listens to a broker at a port; prints the token of the first.
"""

import os
import sys

import django


def main(port: str) -> None:
    """Make the mill."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from plant.models import ReadingSource
    from tests.plant.broker import USER
    from tests.plant.sending import sending_mill

    sender = sending_mill()
    ReadingSource.objects.create(
        code="loggers",
        name="Loggers",
        way="broker",
        broker_host="127.0.0.1",
        broker_port=int(port),
        broker_topic="mill/#",
        broker_user=USER,
    )
    print(sender.text)  # noqa: T201


main(*sys.argv[1:])
