"""Keep what was typed into a form that could not be taken, and forget it again."""

import json
from collections.abc import Mapping, Sequence
from datetime import timedelta

from django.db.models import QuerySet

from plant import clock
from plant.models import KeptForm, User

# A shift: who is called away in the middle of a form comes back by then. All three are our own choice.
KEPT_FOR = timedelta(hours=8)
MOST_OF_ONE_USER = 10
MOST_LETTERS = 60_000
LONGEST_ADDRESS = 500
# Of no form that is opened anew: the page's token, and secrets.
NEVER_KEPT = ("csrfmiddlewaretoken",)
SECRET = "password"  # noqa: S105 (part of the names of fields with a secret)


def keep(
    user: User, *, page: str, address: str, fields: Mapping[str, Sequence[str]], has_file: bool = False
) -> KeptForm | None:
    """Keep the fields of a form for the one who opened its page; nothing where there is none, or far too much."""
    kept = {name: list(values) for name, values in fields.items() if name not in NEVER_KEPT and SECRET not in name}
    if not kept or len(json.dumps(kept)) > MOST_LETTERS or max(len(page), len(address)) > LONGEST_ADDRESS:
        return None
    forget_old()
    one = KeptForm.objects.create(user=user, page=page, address=address, fields=kept, has_file=has_file, at=clock.now())
    newest = KeptForm.objects.filter(user=user).values_list("pk", flat=True)[:MOST_OF_ONE_USER]
    KeptForm.objects.filter(user=user).exclude(pk__in=list(newest)).delete()
    return one


def kept_pages(user: User) -> list[str]:
    """Return the pages with a form of somebody that could not be taken."""
    return list(_fresh(user).order_by().values_list("page", flat=True).distinct())


def kept_form(user: User, page: str) -> KeptForm | None:
    """Return what somebody sent last from a page in vain."""
    return _fresh(user).filter(page=page).first()


def forget(user: User, address: str) -> None:
    """Forget what was kept for an address: its form was sent again."""
    KeptForm.objects.filter(user=user, address=address).delete()


def forget_old() -> int:
    """Forget what nobody came back for."""
    return KeptForm.objects.filter(at__lt=clock.now() - KEPT_FOR).delete()[0]


def _fresh(user: User) -> QuerySet[KeptForm]:
    return KeptForm.objects.filter(user=user, at__gte=clock.now() - KEPT_FOR)
