"""Run as ``python -m tests.plant.reading_driver`` with a test server's environment: makes a mill that readings come
into, and tells what came.
"""

import json
import os
import sys

import django


def main(order: str, *arguments: str) -> None:
    """Follow one order and print JSON."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from plant.models import FileIntake, Reading, ReadingSource
    from tests.plant.broker import USER
    from tests.plant.sending import sending_mill

    answer: object = None
    if order == "mill":
        answer = sending_mill().text
    elif order == "broker":
        ReadingSource.objects.create(
            code="loggers",
            name="Loggers",
            way="broker",
            broker_host="127.0.0.1",
            broker_port=int(arguments[0]),
            broker_topic="mill/#",
            broker_user=USER,
        )
    elif order == "readings":
        answer = list(Reading.objects.order_by("channel_id", "at_s").values_list("channel__quantity", "at_s", "value"))
    elif order == "refused":
        answer = list(FileIntake.objects.order_by("id").values_list("file_name", "faults"))
    elif order == "count":
        answer = Reading.objects.count()
    print(json.dumps(answer))  # noqa: T201


main(*sys.argv[1:])
