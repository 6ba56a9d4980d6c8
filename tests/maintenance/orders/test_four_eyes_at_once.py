"""Two who decide at once about a bar to entry: run where rows are locked, on PostgreSQL."""

from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from maintenance.entry.bars import bars_of
from maintenance.entry.letting_in import let_in, take_back
from maintenance.models import Defect, LetIn, WorkOrder
from tests.maintenance.entry.test_letting_in import STIFF, WHY, found
from tests.maintenance.entry.test_letting_in import a_door as a_door_in_doubt
from tests.maintenance.mill import a_user
from tests.maintenance.orders.test_four_eyes import a_door, broken, mended, proved, signed, technician, the_test
from tests.maintenance.plans.test_plans_at_once import at_once

pytestmark = [
    pytest.mark.postgresql,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one writer in at a time"),
]


def test_of_two_who_let_people_in_at_once_one_has_the_word() -> None:
    finding = found(a_door_in_doubt().kiln, STIFF, a_user("technician", "per"))
    ilse, oda = a_user("kiln_master", "ilse"), a_user("planner")
    said = at_once(
        [lambda: let_in(finding, by=ilse, key=uuid4(), why=WHY), lambda: let_in(finding, by=oda, key=uuid4(), why=WHY)]
    )
    assert sum(isinstance(one, ValidationError) for one in said) == 1
    at_once([lambda: take_back(LetIn.objects.get(act="let_in"), by=oda, key=uuid4(), why="stuck")] * 2)
    assert LetIn.objects.filter(act="taken_back").count() == 1


def test_mending_and_test_signed_off_at_once_lift_the_bar() -> None:
    order, ilse, oda = broken(a_door()), a_user("kiln_master", "ilse"), a_user("planner")
    mending = mended(order, technician())
    test = proved(the_test(), technician())
    answers = at_once([lambda: signed(mending, ilse), lambda: signed(test, oda)])
    assert not [one for one in answers if isinstance(one, ValidationError)]
    assert not bars_of(order.kiln)
    assert Defect.objects.get().cured_at


def test_two_who_sign_the_same_work_off_at_once_sign_it_once() -> None:
    order, ilse, oda = broken(a_door()), a_user("kiln_master", "ilse"), a_user("planner")
    mending = mended(order, technician())
    at_once([lambda: signed(mending, ilse), lambda: signed(mending, oda)])
    assert WorkOrder.objects.get(pk=mending.pk).signed_off_by in (ilse, oda)
    assert bars_of(order.kiln)
