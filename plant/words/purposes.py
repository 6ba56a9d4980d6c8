"""What each page is for, in one line: read from the table that ships with the product."""

import csv
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.db import transaction

from plant.models import User


@lru_cache(maxsize=2)
def _read(path: Path) -> dict[str, str]:
    with path.open(encoding="utf-8", newline="") as stream:
        return {row["page"]: row["purpose"] for row in csv.DictReader(stream)}


def purposes() -> dict[str, str]:
    """Return name of a page's address -> what the page is for."""
    return _read(settings.FIXTURES_DIR / "words" / "purposes.csv")


def remember(user: User, page: str, *, is_known: bool) -> None:
    """Keep whether somebody has folded a page's purpose away, or unfolded it again. Raises KeyError for no page."""
    purposes()[page]
    with transaction.atomic():
        known = set(User.objects.select_for_update().values_list("known_pages", flat=True).get(pk=user.pk))
        known = known | {page} if is_known else known - {page}
        User.objects.filter(pk=user.pk).update(known_pages=sorted(known))
