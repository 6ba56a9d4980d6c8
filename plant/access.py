"""Who may do what: read from one table, ``config/access.csv``, and asked by every view and action.

A view says what it needs with ``@needs("see kilns")``; an action calls ``require(user, "sign off work")``. The table's
rows are acts, its columns roles; ``yes`` allows, an empty cell refuses.
"""

import csv
from collections.abc import Callable, Collection
from functools import lru_cache, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from django.db import models
from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from plant.models import User

View = Callable[..., HttpResponseBase]


class Role(models.TextChoices):
    """What a user is at the mill; the order decides where somebody with several roles lands."""

    PLANNER = "planner", _("planner")
    KILN_MASTER = "kiln_master", _("kiln master")
    STOREKEEPER = "storekeeper", _("storekeeper")
    TECHNICIAN = "technician", _("technician")
    MANAGER = "manager", _("manager")
    AUDITOR = "auditor", _("auditor")
    ADMINISTRATOR = "administrator", _("administrator")


@lru_cache(maxsize=4)
def _read(path: Path) -> dict[str, frozenset[str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    unknown = set(rows[0]) - {"act", "meaning"} - set(Role.values) if rows else set()
    if not rows or unknown:
        raise ImproperlyConfigured(f"{path.name}: columns must be act, meaning and the roles; not {sorted(unknown)}.")
    return {row["act"]: frozenset(role for role in Role.values if row[role] == "yes") for row in rows}


def access_table() -> dict[str, frozenset[str]]:
    """Return act -> roles that may do it."""
    return _read(Path(settings.ACCESS_TABLE))


@lru_cache(maxsize=4)
def _meanings(path: Path) -> dict[str, str]:
    with path.open(encoding="utf-8", newline="") as stream:
        return {row["act"]: row["meaning"] for row in csv.DictReader(stream)}


def may(roles: Collection[str], act: str) -> bool:
    """Say whether one of the roles allows the act. Raises KeyError for an act the table does not know."""
    return not access_table()[act].isdisjoint(roles)


def require(user: "User | None", act: str) -> None:
    """Refuse an act; ``None`` is the program itself and may do all."""
    if user is not None and not user.may(act):
        meaning = _meanings(Path(settings.ACCESS_TABLE))[act]
        words = _now("Your role does not allow you to: %(meaning)s. An administrator of the mill can change that.")
        raise PermissionDenied(words % {"meaning": meaning})


def needs(act: str) -> Callable[[View], View]:
    """Let a view run only for users who may do the act."""

    def wrap(view: View) -> View:
        @wraps(view)
        def checked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            require(request.user, act)  # type: ignore[arg-type]
            return view(request, *args, **kwargs)

        checked.needs_act = act  # type: ignore[attr-defined]
        return checked

    return wrap
