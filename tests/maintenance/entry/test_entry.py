"""Nobody goes into a chamber that is not open, cooled, locked out and free of what blocks entry."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from maintenance.checks.calculations.sensor_sides import Quantity, Sensor, Side, missing_sensors
from maintenance.door.closing import close_permit
from maintenance.entry.forms import PermitForm
from maintenance.entry.permits import open_permit, open_permit_of
from maintenance.models import EntryPermit, FunctionCheck, Sitting
from plant import clock
from plant.charges.telling import tell
from plant.models import Change, Mill
from tests.factories import (
    ChargeFactory,
    ComponentFactory,
    ComponentKindFactory,
    DefectFactory,
    KilnFactory,
    QualificationFactory,
    WorkOrderFactory,
)
from tests.maintenance.mill import a_person, a_user, answers, opened, signed_in

pytestmark = pytest.mark.django_db


def test_a_chamber_is_opened_by_name_time_and_temperature() -> None:
    kiln, user = KilnFactory(), a_user("technician")
    permit = open_permit(kiln, answers(temperature_c=Decimal("31.5")), by=user, key=uuid4())
    assert (permit.locked_out_by.name, permit.watch_outside.name) == ("Oda", "Per")  # type: ignore[union-attr]
    assert open_permit_of(kiln) == permit
    assert Change.objects.about(kiln).get().after["temperature_c"] == "31.5"


@pytest.mark.parametrize(
    ("said", "missing"),
    [
        ({"is_open": False}, "Open the main doors"),
        ({"is_locked_out": False}, "Lock out"),
        ({"is_escape_door_tried": False}, "escape door"),
        ({"temperature_c": Decimal("35.1")}, "35.1 °C warm"),
    ],
)
def test_what_is_not_so_yet_is_named(said: dict[str, object], missing: str) -> None:
    with pytest.raises(ValidationError, match=missing):
        open_permit(KilnFactory(), answers(**said), by=a_user("technician"), key=uuid4())
    assert not EntryPermit.objects.exists()


def test_the_limit_itself_is_cool_enough() -> None:
    assert open_permit(KilnFactory(), answers(temperature_c=Decimal(35)), by=a_user("technician"), key=uuid4())


def test_the_watch_outside_is_somebody_else() -> None:
    oda = a_person("oda", "lock-out")
    with pytest.raises(ValidationError, match="another person"):
        open_permit(KilnFactory(), answers(watch_outside=oda), by=a_user("technician"), key=uuid4())


def test_nobody_stands_at_two_doors() -> None:
    user, first, second = a_user("technician"), KilnFactory(), KilnFactory(tag="K2")
    opened(first, user)
    with pytest.raises(ValidationError, match=f"Per stays outside {first.tag} already"):
        opened(second, user)
    assert open_permit(second, answers(watch_outside=a_person("jon")), by=user, key=uuid4())


def test_who_is_inside_a_chamber_watches_at_no_other() -> None:
    per = a_user("kiln_master", "per")
    check = FunctionCheck.objects.create(number="FC-1", kiln=KilnFactory(), started_by=per, started_at=clock.now())
    sitting = Sitting.objects.create(check_up=check, kiln_state="open_empty", started_at=clock.now(), by=per)
    with pytest.raises(ValidationError, match=f"Per is inside {check.kiln.tag}"):
        opened(KilnFactory(tag="K2"), a_user("technician"))
    Sitting.objects.filter(pk=sitting.pk).update(ended_at=clock.now())
    assert opened(KilnFactory(tag="K2"), a_user("technician"))


def test_a_chamber_that_runs_by_its_charge_record_is_opened_by_somebody_entitled_with_a_reason() -> None:
    kiln, master = KilnFactory(), a_user("kiln_master")
    ChargeFactory(kiln=kiln, begin_at=clock.now() - timedelta(days=3), days=6, basis="running")
    with pytest.raises(ValidationError, match="by its charge record it runs now"):
        opened(kiln, master)
    with pytest.raises(ValidationError, match="Say in a sentence"):
        open_permit(kiln, answers(note="."), by=master, key=uuid4())
    with pytest.raises(ValidationError, match="only the kiln master or the planner"):
        open_permit(kiln, answers(note="Fan failed, shut down at 6"), by=a_user("technician", "tom"), key=uuid4())
    assert open_permit(kiln, answers(note="Fan failed, shut down at 6"), by=master, key=uuid4())


@pytest.mark.parametrize("by_programme", [False, True])
def test_a_charge_that_nobody_told_open_keeps_people_out_whatever_the_clock_and_the_programme_say(
    by_programme: bool, client: Client
) -> None:
    order, tom = WorkOrderFactory(needs_state="empty"), a_user("technician", "tom")
    Mill.objects.update(charges_end_by_programme=by_programme)
    charge = ChargeFactory(
        kiln=order.kiln, begin_at=clock.now() - timedelta(days=6), days=5, basis="running", number="26-118"
    )
    with pytest.raises(ValidationError, match=r"Charge 26-118 should have been out on .* nobody has told that it is"):
        opened(order.kiln, tom)
    page = signed_in(client, tom).get(f"{order.get_absolute_url()}start/").content.decode()
    assert "nobody has told that it is" in page
    assert f"/charges/{order.kiln.tag}/{charge.pk}/unloaded/" in page
    tell(charge, "unloaded", clock.now() - timedelta(minutes=5), key=uuid4(), by=tom)
    assert opened(order.kiln, tom)


@pytest.mark.parametrize("is_drying", [True, False])
def test_the_door_says_that_a_chamber_runs_before_anybody_fills_anything_in(client: Client, is_drying: bool) -> None:
    order, tom = WorkOrderFactory(needs_state="empty"), a_user("technician", "tom")
    if is_drying:
        ChargeFactory(kiln=order.kiln, begin_at=clock.now() - timedelta(days=3), days=6, basis="running")
    page = signed_in(client, tom).get(f"{order.get_absolute_url()}start/").content.decode()
    assert "may stay empty" not in page.partition("everybody out?")[2].partition("<select")[0]
    assert ("by its charge record it runs now" in page) is is_drying
    assert ("only the kiln master or the planner may open it" in page) is is_drying


def test_only_an_authorised_person_locks_out() -> None:
    user = a_user("technician")
    with pytest.raises(ValidationError, match="not on record as authorised"):
        open_permit(KilnFactory(), answers(locked_out_by=a_person("ilse")), by=user, key=uuid4())
    lapsed = QualificationFactory(person=a_person("ilse"), skill__code="lock-out", valid_until=date(2020, 1, 31)).person
    with pytest.raises(ValidationError, match="ran out on 2020-01-31"):
        open_permit(KilnFactory(), answers(locked_out_by=lapsed), by=user, key=uuid4())


def test_a_defect_that_blocks_entry_keeps_everybody_out() -> None:
    kiln = KilnFactory()
    DefectFactory(kiln=kiln, what="latch corroded", blocks_entry=True)
    with pytest.raises(ValidationError, match="Nobody may enter K1: latch corroded"):
        open_permit(kiln, answers(), by=a_user("kiln_master"), key=uuid4())


def test_sent_twice_it_is_opened_once_and_a_second_permit_is_refused() -> None:
    kiln, user, key = KilnFactory(), a_user("technician"), uuid4()
    first = open_permit(kiln, answers(), by=user, key=key)
    assert open_permit(kiln, answers(), by=user, key=key) == first
    with pytest.raises(ValidationError, match="open for entry already"):
        opened(kiln, user)


def test_it_is_closed_only_when_everybody_is_out() -> None:
    kiln, user = KilnFactory(), a_user("technician")
    permit = opened(kiln, user)
    with pytest.raises(ValidationError, match="Count"):
        close_permit(permit, by=user, key=uuid4(), is_everybody_out=False)
    closing = close_permit(permit, by=user, key=uuid4(), is_everybody_out=True)
    assert open_permit_of(kiln) is None
    assert close_permit(permit, by=user, key=uuid4(), is_everybody_out=True) == closing


def test_a_storekeeper_opens_no_chamber() -> None:
    with pytest.raises(PermissionDenied):
        open_permit(KilnFactory(), answers(), by=a_user("storekeeper"), key=uuid4())


def test_a_flame_in_the_chamber_asks_for_the_air_and_keeps_that_it_was_checked() -> None:
    kiln, user = KilnFactory(heating_medium="direct_fired"), a_user("technician")
    with pytest.raises(ValidationError, match="carbon monoxide"):
        opened(kiln, user)
    open_permit(kiln, answers(is_air_checked=True), by=user, key=uuid4())
    assert "carbon monoxide" in Change.objects.about(kiln).get().after["inside_air"]


def test_every_escape_door_is_named_at_the_door_and_in_the_history() -> None:
    kiln, user = KilnFactory(), a_user("technician")
    kind = ComponentKindFactory(code="escape-door", end_view_no=3)
    for side in ("north", "south"):
        ComponentFactory(kiln=kiln, kind=kind, tag=side, name=f"Escape door {side}")
    form = PermitForm(mill=kiln.mill, kiln=kiln)
    assert "Escape door north, Escape door south" in str(form.fields["is_escape_door_tried"].label)
    assert "is_air_checked" not in form.fields
    opened(kiln, user)
    said = Change.objects.about(kiln).get().after["escape_doors_tried"]
    assert said == ["Escape door north", "Escape door south"]


def test_the_door_offers_who_may_lock_out_and_the_crew_first_to_stay_outside() -> None:
    kiln, oda = KilnFactory(), a_user("technician")
    per, zoe = a_person("per"), a_person("zoe")
    QualificationFactory(person=per, skill__code="lock-out", valid_until=date(2020, 1, 31))
    a_user("auditor", "ann", ())
    a_user("manager", "max", ("first-aid",))
    form = PermitForm(mill=kiln.mill, kiln=kiln, person=per, crew=[zoe.pk])
    assert [person.code for person in form.fields["locked_out_by"].queryset] == ["oda"]  # type: ignore[attr-defined]
    assert form.fields["locked_out_by"].initial is None
    watchers = [person.code for person in form.fields["watch_outside"].queryset]  # type: ignore[attr-defined]
    assert watchers[0] == "zoe" and sorted(watchers) == ["max", "oda", "per", "zoe"]
    assert oda.person in form.fields["locked_out_by"].queryset  # type: ignore[attr-defined]


SENSORS = st.lists(
    st.builds(
        Sensor,
        st.sampled_from(["thermometer", "psychrometer", "humidity-sensor", "emc-plate", "fan"]),
        st.sampled_from(["left", "right", "both", ""]),
    ),
    max_size=6,
)


@given(SENSORS)
def test_more_sensors_never_leave_more_sides_unsensed(sensors: list[Sensor]) -> None:
    alone = set(missing_sensors(sensors, is_reversing=True))
    more = set(missing_sensors([*sensors, Sensor("psychrometer", "left")], is_reversing=True))
    assert more <= alone
    assert not {one for one in more if one.side == Side.LEFT}
    assert missing_sensors(sensors, is_reversing=False) == ()


def test_a_reversing_kiln_without_sensors_lacks_both_quantities_on_both_sides() -> None:
    assert len(missing_sensors([], is_reversing=True)) == len(Quantity) * len(Side)
