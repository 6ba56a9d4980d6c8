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
    elif order == "ended":
        until = time.monotonic() + float(argument)
        while Job.objects.filter(state__in=["waiting", "under_way"]).exists() and time.monotonic() < until:
            time.sleep(0.05)
    jobs = Job.objects.order_by("key").annotate(count=Count("attempts"))
    print(json.dumps(list(jobs.values_list("key", "state", "count"))))  # noqa: T201


main(*sys.argv[1:])
