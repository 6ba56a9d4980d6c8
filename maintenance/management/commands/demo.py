"""Show the program with an invented mill."""

import os
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from maintenance.day.run import run_day
from maintenance.demo.planning import work_out_plan
from maintenance.demo.readings import DAYS, Brought, bring_readings
from maintenance.demo.setting_up import DEMO_PASSWORD, OtherDayError, OtherMillError, Standing, stand_up
from maintenance.demo.summary import morning_lines, sign_in_lines
from maintenance.demo.world import ZONE
from plant import clock


class Command(BaseCommand):
    """``manage.py demo``."""

    help = "Load the invented Fallow Bridge Sawmill, do its day's work, say what it found, and serve the pages."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the day, and whether to serve."""
        parser.add_argument("--no-serve", action="store_true", help="end after the summary")
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
        """Set up, work out the day, tell, serve."""
        asked_for = _read_day(options["today"] or settings.KILNWARD_TODAY)
        if options["months"] < 2:
            raise CommandError("--months must be 2 or more.")
        if asked_for:
            _stand_on(asked_for)
        call_command("migrate", verbosity=0, interactive=False)
        standing = self._stand_up(asked_for, options)
        if standing.is_past:
            _stand_on(standing.day)
        brought = bring_readings(options["reading_days"]) if options["reading_days"] > 0 else Brought()
        summary = run_day(standing.day)
        planned = work_out_plan(options["plan_seconds"]) if options["plan_seconds"] > 0 else []
        self._tell(standing, asked_for, [*brought.lines(), *summary.lines(), *planned])
        address = f"http://127.0.0.1:{options['port']}/"
        if options["no_serve"]:
            self.stdout.write(f"\nTo see the pages: manage.py demo, then {address}")
            return
        self.stdout.write(f"\nThe pages: {address} (Ctrl+C ends the demo)")
        self.stdout.flush()
        call_command("serve", port=options["port"])

    def _stand_up(self, asked_for: date | None, options: dict[str, Any]) -> Standing:
        try:
            return stand_up(clock.today(ZONE), asked_for, is_fresh=options["fresh"], months=options["months"])
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

    def _tell(self, standing: Standing, asked_for: date | None, said_by_the_day: list[str]) -> None:
        for line in morning_lines(standing.day, said_by_the_day):
            self.stdout.write(line)
        self.stdout.write("")
        for line in sign_in_lines(DEMO_PASSWORD):
            self.stdout.write(line)
        if standing.is_past and not asked_for:
            self.stdout.write(
                f"\nThe demo that was here before was kept: it stands on {standing.day:%Y-%m-%d}. "
                "With --fresh it begins again today."
            )


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
