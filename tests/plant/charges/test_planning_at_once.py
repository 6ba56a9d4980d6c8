"""Two people who plan the same kilns at once: one goes through, the other looks again; nobody waits for ever."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from decimal import Decimal
from itertools import pairwise
from threading import Barrier
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from plant import clock
from plant.charges import planning, telling
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.laying import lay
from plant.charges.calculations.told import ChargeTimes
from plant.models import Charge, Kiln
from tests.factories import ChargeFactory, KilnFactory
from tests.plant.charges.planned import DAY

pytestmark = [
    pytest.mark.postgresql,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one writer in at a time"),
]
ROUNDS = 5


def at_once(*acts: Callable[[], Any]) -> list[str]:
    """Run acts in threads of their own, begun together; return of each by what it was refused, or nothing."""
    gate = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> str:
        try:
            gate.wait(timeout=30)
            act()
        except ValidationError as refusal:
            return refusal.messages[0]
        finally:
            connection.close()
        return ""

    with ThreadPoolExecutor(len(acts)) as people:
        return list(people.map(run, acts))


def times(begin_at: datetime, days: float = 4) -> ChargeTimes:
    return lay(begin_at, {PhaseKind.DRYING: days * DAY})


def a_wish(kiln: Kiln, number: str) -> Charge:
    timber = {"species": "spruce", "thickness_mm": 50, "volume_m3": Decimal(50)}
    return Charge(kiln=kiln, number=number, **timber)


def kept(wanted: Charge, at: ChargeTimes) -> Callable[[], Charge]:
    """Look at what follows now, and return the act that puts it on record."""
    seen = planning.look(wanted, at).mark
    return lambda: planning.keep(wanted, at, seen=seen, key=uuid4(), by=None)


def test_of_two_who_want_the_same_time_one_has_it_and_the_other_is_told() -> None:
    for number in range(ROUNDS):
        kiln = KilnFactory(tag=f"K{number}")
        at = clock.now() + DAY
        said = at_once(*(kept(a_wish(kiln, name), times(at)) for name in ("mine", "hers")))
        assert sorted(map(bool, said)) == [False, True]
        assert "was changed meanwhile" in max(said)
        assert Charge.objects.filter(kiln=kiln).count() == 1


def test_a_plan_and_a_word_at_the_kiln_do_not_cross() -> None:
    for number in range(ROUNDS):
        inside = ChargeFactory(
            kiln=KilnFactory(tag=f"K{number}"), begin_at=clock.now() - 2 * DAY, days=3, basis="running"
        )
        wish = kept(a_wish(inside.kiln, "new"), times(clock.now() + 1.5 * DAY))
        late = clock.now() + 3 * DAY
        planned, told = at_once(wish, lambda: telling.tell(inside, "expected", late, key=uuid4(), by=None))  # noqa: B023
        assert told == ""
        assert planned == "" or "holds" in planned
        rows = list(Charge.objects.filter(kiln=inside.kiln).order_by("begin_at"))
        assert all(a.end_at <= b.begin_at for a, b in pairwise(rows))
        # Whoever came first: what was planned gives way to what was told.
        assert rows[0].end_at == late and len(rows) == (2 if planned == "" else 1)


def test_charges_that_change_kilns_with_each_other_wait_for_nobody_for_ever() -> None:
    for number in range(ROUNDS):
        kilns = [KilnFactory(tag=f"{side}{number}") for side in "AB"]
        at = clock.now() + 2 * DAY
        charges = [ChargeFactory(kiln=kiln, begin_at=at, days=4) for kiln in kilns]
        wishes = []
        for charge, kiln in zip(charges, reversed(kilns), strict=True):
            charge.kiln = kiln
            wishes.append(kept(charge, times(at + 10 * DAY)))
        assert at_once(*wishes) == ["", ""]
        assert [Charge.objects.get(pk=charge.pk).kiln for charge in charges] == kilns[::-1]
