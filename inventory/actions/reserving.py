"""Set parts aside for a purpose, and give them free again."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.refusals import MoveRefused
from inventory.advice import refresh_advice
from inventory.models import Part, Reservation
from plant import clock
from plant.access import require
from plant.models import Change, Mill, User


@transaction.atomic
def reserve(
    part: Part,
    quantity: Decimal,
    needed_on: date,
    source: str,
    purpose: str = "",
    is_planned: bool = True,
    by: User | None = None,
) -> Reservation:
    """Set a quantity aside for a source; a second call for the same source and part puts it to what is asked now.

    What a reservation asks for need not lie on the shelf: what is missing is ordered. Raises MoveRefused,
    PermissionDenied.
    """
    require(by, "take parts")
    if not quantity > 0 or quantity % part.unit_step:
        raise MoveRefused(
            _(
                "%(number)s %(part)s cannot be reserved: write a quantity above 0, in whole units where they are "
                "counted."
            )
            % {"number": quantity, "part": part.name}
        )
    wanted: dict[str, Any] = {
        "quantity": quantity,
        "needed_on": needed_on,
        "purpose": purpose[:160],
        "is_planned": is_planned,
    }
    reservation, is_new = Reservation.objects.select_for_update().get_or_create(
        part=part, source=source, defaults={**wanted, "created_at": clock.now()}
    )
    before = {} if is_new else _figures(reservation)
    wanted["closed_at"] = reservation.closed_at if reservation.used >= quantity else None
    changed = [name for name, value in wanted.items() if getattr(reservation, name) != value]
    for name in changed:
        setattr(reservation, name, wanted[name])
    if changed:
        reservation.save(update_fields=changed)
    if is_new or changed:
        Change.record(part, "set aside", by=by, before=before, after=_figures(reservation))
        _bring_advice_along(part, by)
    return reservation


@transaction.atomic
def close_reservation(reservation: Reservation, by: User | None = None) -> bool:
    """Give free what a reservation has not used; False where it was closed before."""
    require(by, "take parts")
    won = Reservation.objects.still_wanted().filter(pk=reservation.pk).update(closed_at=clock.now())
    if won:
        before = _figures(reservation)
        reservation.refresh_from_db()
        Change.record(reservation.part, "set free", by=by, before=before, after=_figures(reservation))
        _bring_advice_along(reservation.part, by)
    return bool(won)


@transaction.atomic
def release(source: str, by: User | None = None) -> int:
    """Give free all that is still set aside for a source; return how many reservations that closed."""
    # In one order of parts, as everybody brings advice along: two jobs that share parts must not wait for each other.
    still = Reservation.objects.still_wanted().filter(source=source).select_related("part").order_by("part")
    return sum(close_reservation(reservation, by) for reservation in still)


def _bring_advice_along(part: Part, by: User | None) -> None:
    # The program itself sets aside for many jobs at once, and looks at all parts when it has done so.
    if by is not None:
        refresh_advice(clock.today(Mill.objects.current().zone), [part])


def _figures(reservation: Reservation) -> dict[str, str | bool]:
    return {
        "source": reservation.source,
        "quantity": f"{Decimal(reservation.quantity).normalize():f}",
        "used": f"{Decimal(reservation.used).normalize():f}",
        "needed_on": reservation.needed_on.isoformat(),
        "open": reservation.closed_at is None,
    }
