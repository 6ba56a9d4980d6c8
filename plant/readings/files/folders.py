"""Folders in which loggers lay down their files: always below the one that the environment names."""

from pathlib import Path

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

SUFFIXES = (".csv", ".txt", ".tsv", ".dat", ".log", ".asc")


def root() -> Path | None:
    """Return the folder below which all watched ones lie; None where none is watched."""
    return Path(settings.READINGS_DIR).resolve() if settings.READINGS_DIR else None


def folder_below(name: str, *, must_be_there: bool = True) -> Path:
    """Return the folder of this name. Raises ValidationError where it lies elsewhere or is not there."""
    above = root()
    if above is None:
        raise ValidationError(
            {
                "folder": _(
                    "This server watches no folders. Whoever keeps it names the folder above all watched ones in its "
                    "environment (KILNWARD_READINGS_DIR) and starts it anew."
                )
            }
        )
    if "\0" in name:
        raise ValidationError({"folder": _("A folder's name does not hold such characters.")})
    # Resolved, so that neither .. nor a link leads out.
    found = (above / name).resolve()
    if not found.is_relative_to(above):
        raise ValidationError({"folder": _("It must lie below the folder that the server watches.")})
    if must_be_there and not found.is_dir():
        raise ValidationError({"folder": _("There is no such folder below the one that the server watches.")})
    return found


def files_in(folder: Path) -> list[Path]:
    """Return the files of a folder that may be a logger's, oldest first; links that lead out of it are none."""
    found = []
    for path in folder.iterdir():
        if path.name.startswith((".", "~")) or path.suffix.lower() not in SUFFIXES:
            continue
        if path.is_file() and path.resolve().parent == folder:
            found.append(path)
    return sorted(found, key=lambda path: (path.stat().st_mtime_ns, path.name))
