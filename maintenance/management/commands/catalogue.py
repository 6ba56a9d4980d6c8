"""Bring the product's catalogue into the database."""

from typing import Any

from django.core.management.base import BaseCommand

from maintenance.loading.loader import load_catalogue
from maintenance.management.commands._reporting import tell
from maintenance.watches.settings import set_up_watches
from plant.models import Kiln


class Command(BaseCommand):
    """``manage.py catalogue``."""

    help = "Load the catalogue of component kinds, check points, failure modes and task sheets, or bring it up to date."

    def handle(self, *args: Any, **options: Any) -> None:
        """Load it, and bring the shipped watches that kilns were given up to date."""
        tell(self, load_catalogue(), "the catalogue")
        for kiln in Kiln.objects.filter(watches__is_shipped=True).distinct():
            found = set_up_watches(kiln, by=None)
            if found.new or found.changed:
                self.stdout.write(f"{kiln.tag + ' watches':<18} {found.new} new, {found.changed} changed")
