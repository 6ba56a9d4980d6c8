"""Write empty files for a mill."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from maintenance.loading.describe import describe, write_templates


class Command(BaseCommand):
    """``manage.py templates FOLDER``."""

    help = "Write a mill's files with their headers and one example row each."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder."""
        parser.add_argument("folder", type=Path, nargs="?")
        parser.add_argument("--describe", action="store_true", help="print what the files look like (Markdown) instead")

    def handle(self, *args: Any, folder: Path | None, describe: bool, **options: Any) -> None:
        """Write the files, or describe them."""
        if describe:
            self.stdout.write(_description(), ending="")
            return
        if folder is None:
            raise CommandError("Name the folder to write to.")
        try:
            paths = write_templates(folder)
        except FileExistsError as refusal:
            raise CommandError(
                f"Files are there already and stay as they are: {refusal}. Name another folder."
            ) from None
        except OSError as refusal:
            raise CommandError(f"The folder cannot be written to: {refusal}.") from None
        self.stdout.write(
            f"{len(paths)} files with an example row each are in {folder}. Replace the examples, then load it."
        )


def _description() -> str:
    return describe()
