"""What people tell of charges moves the programme; it is put right and taken back, and nothing of it is lost."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, transaction
from hypothesis import given
from hypothesis import strategies as st

from plant.charges import telling
from plant.charges.calculations import told
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.told import ChargeTimes, Span
from plant.kilns.kilns_now import kilns_now
from plant.models import Change, Charge, ChargeWord, Downtime, Kiln, Mill, User
from tests.factories import MONDAY, ChargeFactory, KilnFactory, PersonFactory, UserFactory

HOUR = timedelta(hours=1)
DAY = 24 * HOUR
NOW = MONDAY + 2 * DAY


@pytest.fixture(autouse=True)
def _wednesday() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def ilse(db: None) -> User:
    user: User = UserFactory(username="ilse", role="kiln_master", person=PersonFactory(code="ilse"))
    return user


@pytest.fixture
def kiln(db: None) -> Kiln:
    made: Kiln = KilnFactory()
    return made


def a_charge(kiln: Kiln, begin_at: datetime, basis: str = "planned", days: int = 4, **more: Any) -> Charge:
    made: Charge = ChargeFactory(kiln=kiln, begin_at=begin_at, basis=basis, days=days, **more)
    return made


def tell(charge: Charge, what: str, at: datetime, by: User, **more: Any) -> ChargeWord:
    more = {"key": uuid4(), "why": "the probe says that the boards are dry", **more}
    return telling.tell(charge, what, at, by=by, **more)


def phases(charge: Charge) -> dict[str, tuple[datetime, datetime]]:
    return {phase.kind: (phase.begin_at, phase.end_at) for phase in charge.phases.all()}


def span(charge: Charge) -> tuple[str, datetime, datetime]:
    charge = Charge.objects.get(pk=charge.pk)
    return charge.basis, charge.begin_at, charge.end_at


# loaded and started


def test_a_charge_started_late_takes_its_phases_along_and_keeps_what_was_promised(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 10 * HOUR)
    tell(charge, "started", NOW - HOUR, ilse)
    # Expected: loading for two hours until eight hours ago; seven hours late.
    assert span(charge) == ("running", NOW - 3 * HOUR, NOW - 10 * HOUR + 4 * DAY + 7 * HOUR)
    assert phases(charge)["loading"] == (NOW - 3 * HOUR, NOW - HOUR)
    assert phases(charge)["heating_up"] == (NOW - HOUR, NOW + 7 * HOUR)
    charge.refresh_from_db()
    assert charge.planned_begin_at == NOW - 10 * HOUR


def test_loading_is_not_thought_to_begin_before_the_charge_before_was_out(kiln: Kiln, ilse: User) -> None:
    before = a_charge(kiln, NOW - 5 * DAY, "done")
    before.end_at = NOW - HOUR
    before.save()
    charge = a_charge(kiln, NOW)
    tell(charge, "started", NOW, ilse)
    assert span(charge)[1] == NOW - HOUR
    assert phases(charge)["loading"] == (NOW - HOUR, NOW)


def test_while_another_is_in_the_kiln_none_is_started(kiln: Kiln, ilse: User) -> None:
    inside = a_charge(kiln, NOW - 2 * DAY, "running")
    charge = a_charge(kiln, NOW + 2 * DAY)
    with pytest.raises(ValidationError, match=f"{inside.number} is in K"):
        tell(charge, "started", NOW, ilse)
    assert not ChargeWord.objects.exists()


def test_a_kiln_that_stands_starts_nothing_until_somebody_says_that_it_can_dry(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW)
    Downtime.objects.create(kiln=kiln, kind="unplanned", start_at=NOW - HOUR, cause="fan 3")
    with pytest.raises(ValidationError, match=r"stands since .* \(fan 3\)\. Say first that it is able to dry again"):
        tell(charge, "started", NOW, ilse)


def test_what_lies_ahead_is_not_told_as_happened(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW)
    with pytest.raises(ValidationError, match="lies ahead"):
        tell(charge, "started", NOW + HOUR, ilse)


def test_a_charge_that_was_to_come_first_comes_behind_the_one_that_was_started(kiln: Kiln, ilse: User) -> None:
    first, second, third = (a_charge(kiln, NOW + n * 5 * DAY) for n in range(3))
    tell(second, "started", NOW, ilse)
    end_at = span(second)[2]
    assert span(first)[1] == end_at
    assert span(third)[1] == NOW + 10 * DAY


def test_a_charge_that_a_file_calls_running_before_it_begins_is_planned_still(kiln: Kiln, ilse: User) -> None:
    before, charge = a_charge(kiln, NOW - 4 * DAY, "running"), a_charge(kiln, NOW + 3 * HOUR, "running")
    assert telling.may_tell(charge, [])[0] == "started"
    with pytest.raises(ValidationError, match=f"{before.number} is in K"):
        tell(charge, "started", NOW, ilse)
    tell(before, "expected", NOW + 5 * HOUR, ilse)
    assert span(charge)[:2] == ("planned", NOW + 5 * HOUR)


def test_a_start_that_only_a_file_told_is_told_anew_so_that_the_charge_before_can_come_out(
    kiln: Kiln, ilse: User
) -> None:
    before, charge = a_charge(kiln, NOW - 5 * DAY, "running"), a_charge(kiln, NOW - DAY, "running")
    with pytest.raises(ValidationError, match="cannot be in it as well"):
        tell(before, "unloaded", NOW - 2 * HOUR, ilse)
    assert "started" in telling.may_tell(charge, [])
    tell(charge, "started", NOW, ilse)
    tell(before, "unloaded", NOW - 2 * HOUR, ilse)
    with pytest.raises(ValidationError, match="put that right instead"):
        tell(charge, "started", NOW, ilse)
    assert (span(before)[2], phases(charge)["heating_up"][0]) == (NOW - 2 * HOUR, NOW)


# opened, out


def test_opening_ends_what_ran_and_unloading_begins(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 3 * DAY, "running")
    tell(charge, "opened", NOW, ilse)
    found = phases(charge)
    assert found["unloading"] == (NOW, NOW + 2 * HOUR)
    assert found["cooling"][1] == NOW
    assert span(charge) == ("running", NOW - 3 * DAY, NOW + 2 * HOUR)


def test_a_charge_that_is_out_frees_its_kiln(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 3 * DAY, "running")
    following = a_charge(kiln, NOW + 2 * DAY)
    tell(charge, "unloaded", NOW - HOUR, ilse)
    assert span(charge) == ("done", NOW - 3 * DAY, NOW - HOUR)
    # None is drawn forward: when the next is loaded somebody says.
    assert span(following)[1] == NOW + 2 * DAY
    stand = kilns_now([kiln], NOW)[0]
    assert stand.charge is None
    assert stand.opening and stand.opening.start_at <= NOW


def test_a_charge_that_came_out_late_pushes_those_behind(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 5 * DAY, "running")
    following = a_charge(kiln, NOW - 12 * HOUR)
    tell(charge, "unloaded", NOW, ilse)
    assert span(following)[1] == NOW


def test_nothing_is_unloaded_twice_nor_before_it_was_started(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 3 * DAY, "running")
    with pytest.raises(ValidationError, match="give an instant after that"):
        tell(charge, "unloaded", NOW - 4 * DAY, ilse)
    tell(charge, "unloaded", NOW, ilse)
    with pytest.raises(ValidationError, match=r"was out on .* already"):
        tell(charge, "unloaded", NOW, ilse)
    coming = a_charge(kiln, NOW + DAY)
    with pytest.raises(ValidationError, match="has not begun by the record"):
        tell(coming, "unloaded", NOW, ilse)


def test_a_kiln_that_dries_by_the_record_is_told_open_by_few_and_with_a_reason(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 2 * DAY, "running")
    per = UserFactory(username="per", role="technician", person=PersonFactory(code="per"))
    for what in ("opened", "unloaded"):
        with pytest.raises(ValidationError, match="only the kiln master or the planner can tell"):
            tell(charge, what, NOW, per)
        with pytest.raises(ValidationError, match=f"dries {charge.number} until .* Say why in a sentence"):
            tell(charge, what, NOW, ilse, why="dry")
    tell(charge, "unloaded", NOW, ilse)
    cooling = a_charge(KilnFactory(tag="K2"), NOW - 4 * DAY + 4 * HOUR, "running")
    tell(cooling, "opened", NOW, per, why="")


def test_it_is_opened_once_and_out_only_after_that(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 3 * DAY, "running")
    tell(charge, "opened", NOW - HOUR, ilse)
    with pytest.raises(ValidationError, match=r"was opened on .* already: put that right instead"):
        tell(charge, "opened", NOW, ilse)
    with pytest.raises(ValidationError, match="cannot have been out before"):
        tell(charge, "unloaded", NOW - 2 * HOUR, ilse)


# it did not begin


def test_a_charge_that_a_file_calls_begun_did_not_begin_and_is_started_later(kiln: Kiln, ilse: User) -> None:
    charge, behind = a_charge(kiln, NOW - DAY, "running"), a_charge(kiln, NOW + 3 * DAY + HOUR)
    stood = span(charge), span(behind)
    word = tell(charge, "not_begun", NOW + 6 * HOUR, ilse)
    assert span(charge)[0] == "planned"
    assert phases(charge)["heating_up"][0] == NOW + 6 * HOUR
    assert span(behind)[1] >= span(charge)[2]
    assert not kilns_now([kiln], NOW)[0].is_shut
    # It is taken back as everything is: then it dries on, and the next returns.
    telling.take_back(word, key=uuid4(), by=ilse, why="it was another kiln after all")
    assert (span(charge), span(behind)) == stood
    tell(charge, "not_begun", NOW + 6 * HOUR, ilse)
    with time_machine.travel(NOW + 6 * HOUR, tick=False):
        tell(charge, "started", NOW + 6 * HOUR, ilse)
    assert span(charge)[0] == "running"


def test_a_start_that_a_program_told_did_not_happen_whatever_was_told_after_it(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - HOUR)
    telling.tell(charge, "started", NOW - HOUR, key=uuid4(), by=None, by_source="office")
    tell(charge, "expected", NOW + 5 * DAY, ilse)
    tell(charge, "not_begun", NOW + 2 * HOUR, ilse)
    (now,) = kilns_now([kiln], NOW)
    assert (span(charge)[0], now.is_shut) == ("planned", False)
    assert not Charge.objects.with_what_was_told().get(pk=charge.pk).is_start_told


def test_that_a_drying_charge_never_began_is_for_few_and_needs_a_reason(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - DAY, "running")
    per = UserFactory(username="per", role="technician")
    with pytest.raises(ValidationError, match="only the kiln master or the planner can tell"):
        tell(charge, "not_begun", NOW + HOUR, per)
    with pytest.raises(ValidationError, match="Say why in a sentence"):
        tell(charge, "not_begun", NOW + HOUR, ilse, why="no")
    assert span(charge)[0] == "running"
    # Nor does anybody open the kiln by taking back what somebody else told; one's own slip is one's own.
    other = a_charge(KilnFactory(tag="K7"), NOW)
    word = tell(other, "started", NOW, ilse)
    with pytest.raises(ValidationError, match="only the kiln master or the planner can tell"):
        telling.take_back(word, key=uuid4(), by=per, why="it was another kiln after all")
    mine = tell(a_charge(KilnFactory(tag="K8"), NOW), "started", NOW, per)
    telling.take_back(mine, key=uuid4(), by=per, why="wrong kiln")


def test_it_did_not_begin_is_refused_where_it_was_opened_or_never_told(kiln: Kiln, ilse: User) -> None:
    with pytest.raises(ValidationError, match="has not begun by the record either"):
        tell(a_charge(kiln, NOW + 9 * DAY), "not_begun", NOW + DAY, ilse)
    charge = a_charge(kiln, NOW - 4 * DAY, "running")
    with pytest.raises(ValidationError, match="has gone by"):
        tell(charge, "not_begun", NOW, ilse)
    tell(charge, "opened", NOW, ilse)
    with pytest.raises(ValidationError, match="take that back first"):
        tell(charge, "not_begun", NOW + DAY, ilse)


# expected at another time


def test_what_is_expected_anew_takes_the_place_of_what_was_expected_and_others_return(kiln: Kiln, ilse: User) -> None:
    charge, following = a_charge(kiln, NOW - 2 * DAY, "running"), a_charge(kiln, NOW + 2 * DAY)
    tell(charge, "expected", NOW + 9 * DAY, ilse)
    assert span(following)[1] == NOW + 9 * DAY
    tell(charge, "expected", NOW + 3 * DAY, ilse)
    assert span(following)[1] == NOW + 3 * DAY
    assert [word.at for word in telling.words_of([charge])[charge.pk]] == [NOW + 3 * DAY]


def test_a_date_that_slipped_is_refused(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW + DAY)
    with pytest.raises(ValidationError, match="look at the date"):
        tell(charge, "expected", NOW + 365 * DAY, ilse)


def test_what_is_still_to_be_loaded_is_not_loaded_in_the_past(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW + DAY)
    tell(charge, "expected", NOW + HOUR, ilse)
    assert span(charge)[1] == NOW
    assert phases(charge)["heating_up"][0] == NOW + HOUR


def test_the_charge_just_out_counts_however_far_ahead_the_next_was_planned(kiln: Kiln, ilse: User) -> None:
    before, far = a_charge(kiln, NOW - 4 * DAY + 2 * HOUR, "running"), a_charge(kiln, NOW + 200 * DAY)
    tell(before, "unloaded", NOW - HOUR, ilse)
    near = a_charge(kiln, NOW + 12 * HOUR)
    tell(near, "started", NOW, ilse)
    assert (span(near)[1], span(far)[1]) == (NOW - HOUR, NOW + 200 * DAY)


def test_a_charge_under_way_is_expected_later_and_those_behind_give_way(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 2 * DAY, "running")
    following = a_charge(kiln, NOW + 2 * DAY)
    later = tell(charge, "expected", NOW + 3 * DAY, ilse, why="boards still at 14 %")
    assert span(charge) == ("running", NOW - 2 * DAY, NOW + 3 * DAY)
    # Drying takes longer; what comes after it takes as long as ever.
    assert phases(charge)["unloading"] == (NOW + 3 * DAY - 2 * HOUR, NOW + 3 * DAY)
    assert phases(charge)["drying"][1] == NOW + 3 * DAY - 18 * HOUR
    assert span(following)[1] == NOW + 3 * DAY
    assert [one["charge"] for one in later.moved] == [following.pk]


def test_what_gives_way_to_what_is_told_is_loaded_when_the_yard_works(kiln: Kiln, ilse: User) -> None:
    Mill.objects.update(yard_hours=[["06:00", "14:00"]] * 7)
    charge = a_charge(kiln, NOW - 2 * DAY, "running")
    following, far = a_charge(kiln, NOW + 2 * DAY), a_charge(kiln, NOW + 20 * DAY)
    # The kiln is free in the evening, when nobody loads it.
    free_at = (NOW + 3 * DAY).astimezone(kiln.mill.zone).replace(hour=20, minute=0)
    tell(charge, "expected", free_at, ilse, why="boards still at 14 %")
    assert span(following)[1] == (free_at + DAY).replace(hour=6)
    assert span(far)[1] == NOW + 20 * DAY


def test_a_planned_charge_is_not_expected_while_another_is_still_in(kiln: Kiln, ilse: User) -> None:
    a_charge(kiln, NOW - 2 * DAY, "running")
    coming = a_charge(kiln, NOW + 3 * DAY)
    with pytest.raises(ValidationError, match="can be started from Fri 6 Mar 08:00 on"):
        tell(coming, "expected", NOW + DAY, ilse)
    tell(coming, "expected", NOW + 4 * DAY + 2 * HOUR, ilse)
    assert span(coming)[1] == NOW + 4 * DAY


def test_nothing_is_expected_at_an_instant_that_has_gone_by(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 2 * DAY, "running")
    with pytest.raises(ValidationError, match="has gone by"):
        tell(charge, "expected", NOW - HOUR, ilse)


# put right, taken back


def test_a_wrong_instant_is_put_right_and_the_record_keeps_both(kiln: Kiln, ilse: User) -> None:
    charge, following = a_charge(kiln, NOW - 10 * HOUR), a_charge(kiln, NOW - 10 * HOUR + 4 * DAY)
    word = tell(charge, "started", NOW, ilse)
    assert span(following)[1] == NOW - 2 * HOUR + 4 * DAY
    telling.correct(word, NOW - 8 * HOUR, key=uuid4(), by=ilse, why="typed when I came to the desk")
    assert span(charge)[1:] == (NOW - 10 * HOUR, NOW - 10 * HOUR + 4 * DAY)
    # The one behind, that had given way, is where it was.
    assert span(following)[1] == NOW - 10 * HOUR + 4 * DAY
    assert [(one.what, one.at, one.why) for one in ChargeWord.objects.all()] == [
        ("started", NOW, "the probe says that the boards are dry"),
        ("started", NOW - 8 * HOUR, "typed when I came to the desk"),
    ]
    assert [change.act for change in Change.objects.about(charge)] == ["told: started", "told: started"]


def test_what_did_not_happen_is_taken_back(kiln: Kiln, ilse: User) -> None:
    charge, following = a_charge(kiln, NOW - 10 * HOUR), a_charge(kiln, NOW - 10 * HOUR + 4 * DAY)
    before, behind = span(charge), span(following)
    spans = phases(charge)
    word = tell(charge, "started", NOW, ilse)
    telling.take_back(word, key=uuid4(), by=ilse, why="that was K2")
    assert span(charge) == before
    assert phases(charge) == spans
    assert span(following) == behind
    assert telling.words_of([charge])[charge.pk] == []


def test_a_charge_behind_that_somebody_else_moved_meanwhile_stays_there(kiln: Kiln, ilse: User) -> None:
    charge, following = a_charge(kiln, NOW - 10 * HOUR), a_charge(kiln, NOW - 10 * HOUR + 4 * DAY)
    word = tell(charge, "started", NOW, ilse)
    tell(following, "expected", NOW + 9 * DAY, ilse)
    moved = span(following)
    telling.take_back(word, key=uuid4(), by=ilse, why="that was K2")
    assert span(following) == moved


def test_only_what_was_told_last_is_put_right_and_never_without_a_reason(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 3 * DAY, "running")
    first = tell(charge, "opened", NOW - 2 * HOUR, ilse)
    last = tell(charge, "unloaded", NOW, ilse)
    with pytest.raises(ValidationError, match="Something else was told"):
        telling.take_back(first, key=uuid4(), by=ilse, why="no")
    with pytest.raises(ValidationError, match="Say why"):
        telling.correct(last, NOW - HOUR, key=uuid4(), by=ilse, why=" ")
    telling.take_back(last, key=uuid4(), by=ilse, why="two packs are still in")
    assert span(charge)[0] == "running"
    telling.take_back(first, key=uuid4(), by=ilse, why="not opened either")
    assert span(charge)[2] == NOW + DAY


def test_a_charge_is_not_put_back_into_a_kiln_that_holds_the_next(kiln: Kiln, ilse: User) -> None:
    charge, following = a_charge(kiln, NOW - 3 * DAY, "running"), a_charge(kiln, NOW + 2 * DAY)
    word = tell(charge, "unloaded", NOW - 2 * HOUR, ilse)
    tell(following, "started", NOW, ilse)
    with pytest.raises(ValidationError, match="cannot be in it as well"):
        telling.correct(word, NOW - HOUR, key=uuid4(), by=ilse, why="an hour later")
    with pytest.raises(ValidationError, match=r"is in K|cannot be in it as well"):
        telling.take_back(word, key=uuid4(), by=ilse, why="still in")


def test_told_twice_with_one_key_it_is_told_once(kiln: Kiln, ilse: User) -> None:
    charge, key = a_charge(kiln, NOW - 3 * DAY, "running"), uuid4()
    once = tell(charge, "opened", NOW, ilse, key=key)
    assert tell(charge, "opened", NOW, ilse, key=key) == once
    assert ChargeWord.objects.count() == 1


def test_who_may_not_is_refused_and_the_ledger_is_not_rewritten(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 3 * DAY, "running")
    with pytest.raises(PermissionDenied):
        tell(charge, "opened", NOW, UserFactory(username="rolf", role="storekeeper"))
    word = tell(charge, "opened", NOW, ilse)
    with pytest.raises(DatabaseError), transaction.atomic():
        ChargeWord.objects.filter(pk=word.pk).update(at=NOW - DAY)


# the reckoning

KINDS = list(PhaseKind)
minutes = st.integers(min_value=0, max_value=3000)


@st.composite
def programmes(draw: st.DrawFn) -> ChargeTimes:
    at, spans = MONDAY, []
    for kind in KINDS:
        if draw(st.booleans()):
            until = at + timedelta(minutes=draw(minutes))
            spans.append(Span(kind, at, until))
            at = until
    return ChargeTimes(MONDAY, max(at, MONDAY + timedelta(minutes=1)), tuple(spans))


def in_order(times: ChargeTimes) -> bool:
    marks = [mark for one in times.spans for mark in (one.begin_at, one.end_at)]
    return marks == sorted(marks) and all(times.begin_at <= mark <= times.end_at for mark in marks)


@given(programmes(), st.integers(min_value=1, max_value=20_000))
def test_whatever_is_told_the_phases_stay_in_order_within_the_charge(times: ChargeTimes, later_min: int) -> None:
    at = times.heating_at + timedelta(minutes=later_min)
    was = told.started(times, at, at - HOUR)
    assert in_order(was)
    assert was.heating_at == at
    assert in_order(told.opened(times, at))
    out = told.unloaded(times, at)
    assert in_order(out)
    assert out.end_at == at
    now = times.begin_at + timedelta(minutes=later_min // 2)
    coming = told.expected_at(times, now + timedelta(minutes=later_min), now)
    assert in_order(coming)
    assert coming.end_at == now + timedelta(minutes=later_min)


@given(programmes(), st.integers(min_value=1, max_value=20_000))
def test_a_charge_expected_when_it_is_expected_stays_as_it_is(times: ChargeTimes, part: int) -> None:
    now = times.begin_at + (times.end_at - times.begin_at) * (part / 20_001)
    again = told.expected_at(times, times.end_at, now)
    assert [one.begin_at for one in again.spans] == [one.begin_at for one in times.spans]


# to the minute


def test_what_now_or_a_charge_before_sets_begins_on_a_whole_minute(kiln: Kiln, ilse: User) -> None:
    coming, inside = a_charge(KilnFactory(tag="K2"), NOW + 2 * DAY), a_charge(kiln, NOW - 3 * DAY, "running")
    behind = a_charge(kiln, NOW + DAY + HOUR)
    odd = timedelta(seconds=3, microseconds=694_472)
    with time_machine.travel(NOW + odd, tick=False):
        tell(coming, "expected", NOW + HOUR, ilse)
        tell(inside, "expected", NOW + 2 * DAY + odd, ilse)
    minute = timedelta(minutes=1)
    # Loading takes two hours: it begins as soon as may be, and gives way to the heat that was told.
    assert span(coming)[1] == NOW + minute
    assert phases(coming)["heating_up"][0] == NOW + HOUR
    assert span(behind)[1] == NOW + 2 * DAY + minute
    whole = [at for at, _end in phases(inside).values()]
    assert all(at == at.replace(second=0, microsecond=0) for at in whole)
