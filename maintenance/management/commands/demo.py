"""Show the program with an invented mill."""

import fcntl
import os
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from maintenance.demo.filling import give_back, see_done, want_filled
from maintenance.demo.readings import DAYS
from maintenance.demo.setting_up import DEMO_PASSWORD, DemoDay, OtherDayError, OtherMillError, ServedError, stand_up
from maintenance.demo.summary import filled_lines, head_line, morning_lines, sign_in_lines
from maintenance.demo.world import ZONE
from plant import clock
from plant.background.process import pid_of
from plant.management.commands.serve import require_port
from plant.models import Job

STOPPED_BY_KEY = 130


class Command(BaseCommand):
    """``manage.py demo``."""

    help = "Load the invented Fallow Bridge Sawmill and serve its pages; what takes longer comes while they are served."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the day, and whether to serve."""
        parser.add_argument("--no-serve", action="store_true", help="wait until all is there, tell of it, and end")
        parser.add_argument("--today", help="the day on which the demo stands (YYYY-MM-DD)")
        parser.add_argument("--fresh", action="store_true", help="clear the demo that is there and begin again")
        parser.add_argument("--port", type=int, default=8000, help="port of the pages")
        parser.add_argument("--months", type=int, default=14, help="months of past that a new demo has, 2 or more")
        parser.add_argument(
            "--reading-days", type=int, default=DAYS, help="days of readings that a new demo has; 0 for none"
        )
        parser.add_argument(
            "--plan-seconds", type=int, default=10, help="seconds in which a plan is worked out; 0 for none"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Set up, tell, and serve or fill."""
        asked_for = _read_day(options["today"] or settings.KILNWARD_TODAY)
        if options["months"] < 2:
            raise CommandError("--months must be 2 or more.")
        if not options["no_serve"]:
            require_port("127.0.0.1", options["port"])
        if asked_for:
            _stand_on(asked_for)
        with _one_at_a_time():
            call_command("migrate", verbosity=0, interactive=False)
            standing, filling = self._stand_up(asked_for, options)
        if options["no_serve"]:
            self._fill(filling)
            self._tell(morning_lines(standing.day, filled_lines(filling)), standing, asked_for)
            self.stdout.write(f"\nTo see the pages: manage.py demo, then http://127.0.0.1:{options['port']}/")
            return
        is_filled = filling.state == Job.State.FINISHED
        lines = morning_lines(standing.day, filled_lines(filling)) if is_filled else [head_line(standing.day)]
        self._tell(lines, standing, asked_for)
        if not is_filled:
            self.stdout.write("\nReadings, the day's work and a first plan come while the pages are served.")
        self.stdout.flush()
        os.environ["KILNWARD_SERVES_DEMO"] = "yes"
        call_command("serve", port=options["port"])

    def _stand_up(self, asked_for: date | None, options: dict[str, Any]) -> tuple[DemoDay, Job]:
        """Set the mill up and want the rest: both, or neither."""
        try:
            with transaction.atomic():
                standing = stand_up(clock.today(ZONE), asked_for, is_fresh=options["fresh"], months=options["months"])
                if standing.is_past:
                    _stand_on(standing.day)
                filling = want_filled(
                    standing.day, reading_days=options["reading_days"], plan_seconds=options["plan_seconds"]
                )
        except OtherMillError:
            raise CommandError(
                "This database holds a mill of its own: the demo stays out of it. Name another one, for example "
                "KILNWARD_DATA_DIR=demo-data manage.py demo."
            ) from None
        except OtherDayError as refusal:
            raise CommandError(
                f"The demo mill that is here stands on {refusal.stands_on:%Y-%m-%d}. Add --fresh to clear it and begin "
                f"again on {asked_for}, or leave the day away to go on with it."
            ) from None
        except ServedError as refusal:
            raise CommandError(
                f"The demo mill that is here is being served (process {pid_of(str(refusal))}, {refusal}). End that one "
                "with Ctrl+C where it was started, then begin again with --fresh."
            ) from None
        return standing, filling

    def _fill(self, filling: Job) -> None:
        """Wait until the demo is filled, here or by the server that is at it."""
        try:
            see_done(filling)
        except KeyboardInterrupt:
            give_back()
            words = "Stopped. Start it again, and it goes on where it was."
            raise CommandError(words, returncode=STOPPED_BY_KEY) from None
        if filling.state == Job.State.FAILED:
            self.stderr.write(filling.failure)
            raise CommandError(
                f"The demo could not be filled: {filling.failure_in_short} Start it again, and it goes on where it was."
            )

    def _tell(self, lines: Iterator[str] | list[str], standing: DemoDay, asked_for: date | None) -> None:
        for line in lines:
            self.stdout.write(line)
        self.stdout.write("")
        for line in sign_in_lines(DEMO_PASSWORD):
            self.stdout.write(line)
        if standing.is_past and not asked_for:
            self.stdout.write(
                f"\nThe demo that was here before was kept: it stands on {standing.day:%Y-%m-%d}. "
                "With --fresh it begins again today."
            )


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Let two starts in one data folder come one after the other: the second finds what the first has set up."""
    with (settings.DATA_DIR / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _read_day(text: str | None) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"--today is {text!r}: write a day as YYYY-MM-DD.") from None


def _stand_on(day: date) -> None:
    """Let this process and those it starts take the day for today."""
    os.environ["KILNWARD_TODAY"] = day.isoformat()
    settings.KILNWARD_TODAY = day.isoformat()
