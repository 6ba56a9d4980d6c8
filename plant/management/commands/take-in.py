"""``manage.py take-in FILE --source CODE``."""  # noqa: N999  commands with two words are typed with a hyphen

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from plant.frame.saying import say
from plant.management.commands.serve import require_database
from plant.models import ReadingSource
from plant.readings.files.calculations.faults import FaultyFileError, OtherHeadError
from plant.readings.files.file_intake import record_refusal, refuse_large, take_in_file

FAULTY, CANNOT_BEGIN, NOT_CONFIRMED = 1, 2, 3


class Command(BaseCommand):
    """Take a logger's file in, all or nothing."""

    help = (
        "Takes a logger's file in by the form that was confirmed for its source, all of it or nothing. Ends with 0 "
        "when it is taken in, 1 when something is wrong with it, 2 when file or source are not there, 3 when nobody "
        "has confirmed on the page of the source how such a file is read."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the file and the source."""
        parser.add_argument("file", type=Path)
        parser.add_argument("--source", required=True, help="code of the source, as on its page")

    def handle(self, *args: Any, file: Path, source: str, **options: Any) -> None:
        """Take it in, and list what is at fault."""
        require_database()
        found = ReadingSource.objects.filter(code=source).first()
        if found is None:
            known = ", ".join(ReadingSource.objects.filter(way="files").values_list("code", flat=True)) or "none"
            raise CommandError(f"There is no source “{source}”. Known are: {known}.", returncode=CANNOT_BEGIN)
        raw = b""
        try:
            refuse_large(file.stat().st_size)
            raw = file.read_bytes()
            intake = take_in_file(found, raw, file.name, by=None)
        except OSError as fault:
            raise CommandError(f"{file} cannot be read: {fault.strerror}.", returncode=CANNOT_BEGIN) from None
        except ValidationError as fault:
            raise CommandError(" ".join(fault.messages), returncode=CANNOT_BEGIN) from None
        except FaultyFileError as fault:
            if raw:
                record_refusal(found, raw, file.name, fault, by=None)
            told = "\n".join(f"  {say(one)}" for one in fault.told())
            code = NOT_CONFIRMED if isinstance(fault, OtherHeadError) else FAULTY
            raise CommandError(f"Nothing of {file.name} was stored:\n{told}", returncode=code) from None
        self.stdout.write(
            f"{file.name}: {intake.read} readings, {intake.new} new, {intake.known} known already, {intake.differing} "
            f"known with another value ({intake.first_at:%Y-%m-%d %H:%M} to {intake.last_at:%Y-%m-%d %H:%M} UTC)."
        )
