"""manage.py daily: the day's work from the command line."""

from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from maintenance.day.run import run_day
from plant.management.commands.serve import require_database
from plant.models import Mill


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"{text!r} is no day: write it as YYYY-MM-DD.") from None


class Command(BaseCommand):
    """Work out a day and say what it found."""

    help = "Raise what recurs, set parts aside, place jobs, list what to order, and say what is late."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the day and whether only to look."""
        parser.add_argument("--today", type=_day, help="the day to work out, YYYY-MM-DD; today if left out")
        parser.add_argument("--dry-run", action="store_true", help="say what would be done and change nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run the day and print its summary."""
        require_database()
        try:
            summary = run_day(options["today"], is_dry=options["dry_run"])
        except Mill.DoesNotExist:
            raise CommandError("No mill is loaded yet: run manage.py load FOLDER or manage.py demo first.") from None
        heading = f"The day's work, {summary.day}"
        self.stdout.write(heading + (" (nothing was changed)" if options["dry_run"] else ""))
        for line in summary.lines():
            self.stdout.write(line)
