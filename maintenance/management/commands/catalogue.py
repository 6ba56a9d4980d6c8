"""Bring the product's catalogue into the database."""

from typing import Any

from django.core.management.base import BaseCommand

from maintenance.loading.loader import load_catalogue
from maintenance.management.commands._reporting import tell


class Command(BaseCommand):
    """``manage.py catalogue``."""

    help = "Load the catalogue of component kinds, check points, failure modes and task sheets, or bring it up to date."

    def handle(self, *args: Any, **options: Any) -> None:
        """Load it."""
        tell(self, load_catalogue(), "the catalogue")
