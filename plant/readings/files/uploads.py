"""Files that somebody sent and has not confirmed yet: kept for a day under a name that cannot be guessed.

Only the session that sent a file can come back to it, and no part of its name here comes from the sender.
"""

import re
import secrets
import time
from collections.abc import Iterable, MutableMapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

KEPT_S = 86_400
MOST_KEPT = 10
TOKEN = re.compile(r"[0-9a-f]{32}")
SESSION_KEY = "uploads"


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that was sent, for a source."""

    token: str
    source: int
    name: str

    @property
    def path(self) -> Path:
        """Return where it lies."""
        return _folder() / f"{self.token}.upload"

    def read(self) -> bytes:
        """Return its bytes. Raises FileNotFoundError where it was cleared away."""
        return self.path.read_bytes()


def _folder() -> Path:
    folder = Path(settings.DATA_DIR) / "uploads"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def keep(session: MutableMapping[str, Any], source: int, name: str, pieces: Iterable[bytes]) -> Upload:
    """Keep a file for a session; its oldest ones give way."""
    forget_old()
    upload = Upload(secrets.token_hex(16), source, Path(name).name[-200:])
    with upload.path.open("xb") as stream:
        for piece in pieces:
            stream.write(piece)
    upload.path.chmod(0o600)
    known = dict(session.get(SESSION_KEY, {}))
    known[upload.token] = {"source": source, "name": upload.name}
    while len(known) > MOST_KEPT:
        _remove(next(iter(known)), known)
    session[SESSION_KEY] = known
    return upload


def find(session: MutableMapping[str, Any], source: int, token: str) -> Upload | None:
    """Return a file that this session sent for a source; None where it did not, or it was cleared away."""
    known = session.get(SESSION_KEY, {}).get(token)
    if known is None or known["source"] != source or not TOKEN.fullmatch(token):
        return None
    upload = Upload(token, source, known["name"])
    return upload if upload.path.is_file() else None


def drop(session: MutableMapping[str, Any], upload: Upload) -> None:
    """Clear a file away."""
    known = dict(session.get(SESSION_KEY, {}))
    _remove(upload.token, known)
    session[SESSION_KEY] = known


def _remove(token: str, known: dict[str, Any]) -> None:
    known.pop(token, None)
    if TOKEN.fullmatch(token):
        (_folder() / f"{token}.upload").unlink(missing_ok=True)


def forget_old() -> int:
    """Clear files away that nobody came back to for a day; say how many."""
    before = time.time() - KEPT_S
    count = 0
    for path in _folder().glob("*.upload"):
        try:
            if path.stat().st_mtime < before:
                path.unlink()
                count += 1
        except FileNotFoundError:
            # Another process cleared it away.
            continue
    return count
