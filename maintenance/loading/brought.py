"""Files that were brought by a page, in the data folder: kept under a name that cannot be guessed, unpacked."""

import hashlib
import json
import shutil
import time
import zipfile
import zlib
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import Protocol
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from maintenance.loading.reading import LARGEST_UNPACKED, SUFFIXES
from plant.basics.sentences import Sentence, Sentences, sentences

KEPT_S = 7 * 86_400
MOST_FILES = 100
PIECE = 1 << 16
PROGRESS = "progress.json"
#: The folders of an archive that holds every table as CSV and as XLSX.
BOTH_FORMS = ("csv", "xlsx")
NOTHING_KEPT = zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError


class Sent(Protocol):
    """A file as a form hands it over."""

    name: str | None
    size: int | None

    def chunks(self) -> Iterable[bytes]:
        """Give it piece by piece."""


File = dict[str, str | int | bool]


def folder_of(key: UUID) -> Path:
    """Return where the files of a key lie."""
    return Path(settings.DATA_DIR) / "brought" / key.hex / "files"


def keep(key: UUID, sent: Sequence[Sent]) -> list[File]:
    """Keep files, those of an archive unpacked; return name, bytes and SHA-256 of each.

    Raises
    ------
    ValidationError
        where one cannot be a mill's file, or an archive cannot be unpacked; then nothing is kept.
    """
    forget_old()
    folder = folder_of(key)
    folder.mkdir(mode=0o700, parents=True)
    try:
        return _keep(folder, sent)
    except BaseException:
        clear(key)
        raise


def _keep(folder: Path, sent: Sequence[Sent]) -> list[File]:
    troubles, is_of_two = [], False
    for one in sent:
        name = _plain(one.name or "")
        suffix = Path(name).suffix.lower()
        try:
            if (one.size or 0) > settings.MAX_LOAD_BYTES:
                limit = settings.MAX_LOAD_BYTES // 1024**2
                raise ValidationError(_("it has more than %d MB. Split it, or ask whoever keeps the server.") % limit)
            if suffix == ".zip":
                is_of_two |= _unpack(folder, one)
            elif suffix in SUFFIXES:
                _write(folder, name, one.chunks())
            else:
                raise ValidationError(_not_ours(suffix))
        except ValidationError as error:
            troubles += [f"{name}: {message}" for message in error.messages]
    if troubles:
        raise ValidationError(troubles)
    return [
        {"name": path.name, "bytes": path.stat().st_size, "sha256": digest_of(path), "is_of_two": is_of_two}
        for path in sorted(folder.iterdir())
    ]


def _not_ours(suffix: str) -> str:
    if suffix in (".xls", ".ods", ".xlsm", ".xlsb"):
        return _("this is another kind of workbook. Save it as XLSX, or as CSV.")
    return _("this is no CSV, no XLSX and no ZIP of them. Save the table as one of these.")


def _plain(name: str) -> str:
    """Return a file's own name, whatever folders stand before it."""
    plain = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(letter for letter in plain if letter.isprintable())[-120:] or "?"


def _write(folder: Path, name: str, pieces: Iterable[bytes]) -> None:
    try:
        with (folder / name).open("xb") as stream:
            for piece in pieces:
                stream.write(piece)
    except FileExistsError:
        raise ValidationError(_("there is a second file of this name. Send one of the two.")) from None


def _unpack(folder: Path, sent: Sent) -> bool:
    """Write the files of an archive; one that is broken, too large or locked is refused as a whole.

    Say whether it held every table as CSV and as XLSX, as archives of this program may: then the CSV files are kept.
    """
    packed_path = folder.parent / "sent.zip"
    with packed_path.open("wb") as stream:
        for piece in sent.chunks():
            stream.write(piece)
    try:
        with zipfile.ZipFile(packed_path) as packed:
            entries = [entry for entry in packed.infolist() if _is_table(entry.filename)]
            if any(entry.filename == "[Content_Types].xml" for entry in packed.infolist()):
                raise ValidationError(_("this is a workbook. Let its name end in .xlsx."))
            if not entries:
                raise ValidationError(_("no CSV and no XLSX lies in this archive."))
            if len(entries) > MOST_FILES:
                raise ValidationError(_("more than %d files lie in this archive.") % MOST_FILES)
            parents = {entry.filename.rsplit("/", 2)[-2].lower() for entry in entries if "/" in entry.filename}
            is_of_two = parents >= set(BOTH_FORMS)
            if is_of_two:
                entries = [entry for entry in entries if entry.filename.lower().endswith(".csv")]
            # What the archive says of its sizes is not relied on: the pieces are counted.
            room = LARGEST_UNPACKED * settings.MAX_LOAD_BYTES
            for entry in entries:
                name = _plain(entry.filename)
                with packed.open(entry) as stream:
                    _write(folder, name, _within(iter(partial(stream.read, PIECE), b""), room))
                room -= (folder / name).stat().st_size
            return is_of_two
    except NOTHING_KEPT:
        raise ValidationError(
            _("the archive cannot be unpacked: it is broken, cut off or locked. Pack the files anew, without password.")
        ) from None
    finally:
        packed_path.unlink(missing_ok=True)


def _is_table(name: str) -> bool:
    plain = _plain(name)
    is_ours = plain.lower().endswith(SUFFIXES) and not plain.startswith((".", "~$"))
    return is_ours and not name.startswith("__MACOSX/")


def _within(pieces: Iterable[bytes], room: int) -> Iterable[bytes]:
    for piece in pieces:
        room -= len(piece)
        if room < 0:
            raise ValidationError(_("unpacked, the archive is larger than files may be. Send its files one by one."))
        yield piece


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def are_as_kept(key: UUID, files: Sequence[File]) -> bool:
    """Say whether the files still lie there, byte for byte as they were sent."""
    folder = folder_of(key)
    if not folder.is_dir():
        return False
    found = {path.name: digest_of(path) for path in folder.iterdir()}
    return found == {str(one["name"]): one["sha256"] for one in files}


def clear(key: UUID) -> None:
    """Clear the files of a key away."""
    shutil.rmtree(folder_of(key).parent, ignore_errors=True)


def forget_old() -> None:
    """Clear files away that nobody came back to for a week."""
    before = time.time() - KEPT_S
    place = Path(settings.DATA_DIR) / "brought"
    for path in place.iterdir() if place.is_dir() else ():
        if path.stat().st_mtime < before:
            shutil.rmtree(path, ignore_errors=True)


class FolderProgress:
    """How far a load is, beside its files: the database shows nothing of a transaction that is under way."""

    def __init__(self, key: UUID) -> None:
        self.path = folder_of(key).parent / PROGRESS

    def __call__(self, done: int, total: int, note: Sentence | Sentences = ()) -> None:
        """Write it down; readers see the whole or what was there before."""
        fresh = self.path.with_suffix(".new")
        file = next((str(dict(one.values).get("file", "")) for one in sentences(note)), "")
        fresh.write_text(json.dumps({"done": done, "total": total, "file": file}), encoding="utf-8")
        fresh.replace(self.path)

    def read(self) -> dict[str, object]:
        """Return how far it is; nothing where it has not begun."""
        try:
            found: dict[str, object] = json.loads(self.path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return found
