"""Load a mill's files."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from maintenance.demo.setting_up import day_of_demo
from maintenance.loading.loader import load_folder
from maintenance.management.commands._reporting import tell
from plant.management.commands.serve import require_database


class Command(BaseCommand):
    """``manage.py load FOLDER [--check]``."""

    help = "Load a mill's files (CSV or XLSX), all or nothing. fixtures/FILES.md describes them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder."""
        parser.add_argument("folder", type=Path)
        parser.add_argument("--check", action="store_true", help="only look, keep nothing")

    def handle(self, *args: Any, folder: Path, check: bool, **options: Any) -> None:
        """Load, and list what is at fault."""
        # The tables of a new mill are made here; those of a mill at work are brought up to date by whoever keeps it.
        if not MigrationRecorder(connection).applied_migrations():
            call_command("migrate", verbosity=0, interactive=False)
        require_database()
        if day_of_demo() and any(folder.glob("mill.*")):
            raise CommandError(
                "This database holds the invented mill of the demo; a mill of its own stays apart from it. Name "
                "another folder for its data, for example KILNWARD_DATA_DIR=my-data manage.py load FOLDER, and serve "
                "it with the same."
            )
        report = load_folder(folder, is_check=check)
        tell(self, report, str(folder))
        self.stdout.write("Sound; nothing was kept (--check)." if check else "Loaded.")
