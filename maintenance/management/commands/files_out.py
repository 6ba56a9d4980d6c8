"""Take everything out: the tables of a mill as CSV and as XLSX."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from maintenance.loading.out import write_folder
from plant.management.commands.serve import require_database
from plant.models import Mill


class Command(BaseCommand):
    """``manage.py files_out FOLDER``."""

    help = "Write all tables of the mill as CSV and as XLSX, so that they load into an empty database as the same mill."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder."""
        parser.add_argument("folder", type=Path)

    def handle(self, *args: Any, folder: Path, **options: Any) -> None:
        """Write the files."""
        require_database()
        try:
            paths = write_folder(folder)
        except Mill.DoesNotExist:
            raise CommandError("There is no mill in this database yet: nothing was written.") from None
        except FileExistsError as refusal:
            raise CommandError(
                f"Files are there already and stay as they are: {refusal}. Name another folder."
            ) from None
        except OSError as refusal:
            raise CommandError(f"The folder cannot be written to: {refusal}.") from None
        self.stdout.write(
            f"{len(paths)} files are in {folder}: each table under csv and under xlsx. "
            f"Load one of the two with: manage.py load {folder / 'csv'}"
        )
