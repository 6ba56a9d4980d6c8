"""Run as ``python -m tests.plant.driver`` with a test server's environment: wants jobs, and waits for their ends."""

import json
import os
import sys
import time

import django


def main(order: str, argument: str) -> None:
    """Follow one order and print JSON."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from django.db.models import Count

    from plant.background.queueing import enqueue
    from plant.models import Job

    if order == "want":
        for what, arguments in json.loads(argument):
            enqueue(what, arguments["name"], arguments)
    elif order == "keep wanting":
        keep_wanting(time.monotonic() + float(argument))
    elif order == "ended":
        until = time.monotonic() + float(argument)
        while Job.objects.filter(state__in=["waiting", "under_way"]).exists() and time.monotonic() < until:
            time.sleep(0.05)
    jobs = Job.objects.order_by("key").annotate(count=Count("attempts"))
    print(json.dumps(list(jobs.values_list("key", "state", "count"))))  # noqa: T201


def keep_wanting(until: float) -> None:
    """Want a job twice a second, and print the key of each that is on record."""
    from django.db import DatabaseError, connection

    from plant.background.queueing import enqueue

    number = 0
    while time.monotonic() < until:
        try:
            enqueue("test: work", f"stream-{number}", {"name": f"stream-{number}", "tenths": 1})
        except DatabaseError:
            connection.close()
        else:
            print(f"stream-{number}", flush=True)  # noqa: T201
        number += 1
        time.sleep(0.5)


main(*sys.argv[1:])
