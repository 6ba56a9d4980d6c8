"""Whom a booking takes parts from that are reserved for them: said, asked about, and refused where nobody agreed."""

from collections.abc import Collection, Iterable, Mapping
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory import purposes
from inventory.actions.refusals import TakesFromOthers
from inventory.models import Part, Reservation
from inventory.shelf import Claim, gather_shelves
from plant import clock
from plant.models import Mill, User

Lacked = Mapping[int, Decimal]
ACT = "take reserved parts"


def _claims(part: Part) -> list[Claim]:
    return gather_shelves([part], clock.today(Mill.objects.current().zone))[part.pk].claims


def lacking(part: Part) -> Lacked:
    """Return what is set aside -> how much of it is not on the shelf."""
    return {claim.reservation.pk: claim.missing for claim in _claims(part)}


def losing_claims(part: Part, lacked: Lacked, own: Reservation | None) -> list[Claim]:
    """List the claims, other than one's own, that lack more than they did."""
    others = [claim for claim in _claims(part) if own is None or claim.reservation.pk != own.pk]
    return [claim for claim in others if claim.missing > lacked.get(claim.reservation.pk, Decimal(0))]


def refuse_unnamed(losing: list[Claim], take_from: Collection[str], reason: str, by: User) -> None:
    """Refuse to take from somebody who was not named, or without a reason, or the right. Raises TakesFromOthers."""
    said = claims_in_words(losing)
    may_confirm, is_named = by.may(ACT), said.keys() <= set(take_from)
    if may_confirm and is_named and reason.strip():
        return
    message = _("Reserved for others, and they would lack it: %(claims)s.") % {"claims": "; ".join(said.values())}
    if not may_confirm:
        message += " " + _("The storekeeper, a planner or the kiln master can take it all the same.")
    elif is_named:
        message += " " + _("Say why it is taken all the same.")
    else:
        message += " " + _("Take less, or tick below whom it is taken from and say why.")
    raise TakesFromOthers(message, said, may_confirm=may_confirm)


def claims_in_words(claims: Iterable[Claim]) -> dict[str, str]:
    """Return source -> what it would lack, what it is for and when it is needed."""
    claims = list(claims)
    known = purposes.describe([claim.reservation.source for claim in claims])
    said = {}
    for claim in claims:
        one = claim.reservation
        words = ", ".join(word for word in (one.purpose, known.get(one.source, "")) if word)
        facts = {
            "amount": one.part.amount(claim.missing),
            "source": f"{one.source} ({words})" if words else one.source,
            "day": date_format(one.needed_on, "j M"),
        }
        said[one.source] = _("%(source)s would lack %(amount)s, needed by %(day)s") % facts
    return said
