"""Load a mill's files."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from maintenance.loading.loader import load_folder
from maintenance.management.commands._reporting import tell


class Command(BaseCommand):
    """``manage.py load FOLDER [--check]``."""

    help = "Load a mill's files (CSV or XLSX), all or nothing. fixtures/FILES.md describes them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder."""
        parser.add_argument("folder", type=Path)
        parser.add_argument("--check", action="store_true", help="only look, keep nothing")

    def handle(self, *args: Any, folder: Path, check: bool, **options: Any) -> None:
        """Load, and list what is at fault."""
        report = load_folder(folder, is_check=check)
        tell(self, report, str(folder))
        self.stdout.write("Sound; nothing was kept (--check)." if check else "Loaded.")
