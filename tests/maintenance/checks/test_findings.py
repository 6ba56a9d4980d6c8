"""A finding is entered once, can be taken back, and two people who differ are both heard."""

import time
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction
from django.test import Client

from maintenance.checks.checks import Answer, complete_check, end_sitting, record_finding, start_check, start_sitting
from maintenance.checks.defects import work_order_from_defect
from maintenance.checks.end_view_marks import latest_findings
from maintenance.checks.findings import decide, in_dispute, take_back
from maintenance.models import CheckItem, CheckPoint, Defect, Finding, FunctionCheck, Sitting, TakenBack
from plant.models import Change, User
from tests.factories import CheckPointFactory, ComponentFactory, KilnFactory, MillFactory
from tests.maintenance.mill import a_user, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def oda() -> User:
    MillFactory()
    return a_user("technician")


@pytest.fixture
def per() -> User:
    return a_user("technician", "per")


@pytest.fixture
def check(oda: User) -> FunctionCheck:
    """A check of a kiln with two fans, one point to each, seen while it runs."""
    kiln = KilnFactory(is_reversing=False)
    for tag in ("fan-1", "fan-2"):
        ComponentFactory(kiln=kiln, tag=tag, name=tag)
    CheckPointFactory(code="fans-run", what="All fans run", seen_in="running")
    return start_check(kiln, by=oda)


def sitting(check: FunctionCheck, by: User) -> Sitting:
    return start_sitting(check, "running", by=by, is_cautions_read=True, note="trial run")


def found(item: CheckItem, by: User, result: str = "sound", **answer: Any) -> Finding:
    at = Sitting.objects.filter(by=by, ended_at__isnull=True).first() or sitting(item.check_up, by)
    return record_finding(item, at, Answer(result, **answer), by=by, key=uuid4())


def first(check: FunctionCheck) -> CheckItem:
    item = check.items.order_by("component__tag").first()
    assert item
    return item


def counting(item: CheckItem) -> str | None:
    result: str | None = CheckItem.objects.with_latest().get(pk=item.pk).latest_result  # type: ignore[attr-defined]
    return result


def page_of(item: CheckItem) -> str:
    return f"/rounds/checks/{item.check_up.number}/points/{item.pk}/"


# taken back


def test_what_was_taken_back_leaves_the_point_waiting_and_the_ledger_whole(check: FunctionCheck, oda: User) -> None:
    item = first(check)
    finding = found(item, oda)
    assert check.items.without_finding().count() == 1
    take_back(finding, by=oda, key=uuid4())
    assert counting(item) is None and check.items.without_finding().count() == 2
    assert check.items.progress()[check.pk]["running"] == (0, 2)
    assert Finding.objects.get() == finding and Change.objects.filter(act="finding taken back").exists()


def test_behind_what_was_taken_back_the_earlier_finding_counts_again(check: FunctionCheck, oda: User) -> None:
    item = first(check)
    found(item, oda, "worn")
    take_back(found(item, oda), by=oda, key=uuid4())
    assert counting(item) == "worn"


def test_taken_back_twice_is_taken_back_once(check: FunctionCheck, oda: User) -> None:
    finding = found(first(check), oda)
    assert take_back(finding, by=oda, key=uuid4()) == take_back(finding, by=oda, key=uuid4())
    assert TakenBack.objects.count() == 1


def test_nobody_takes_back_what_somebody_else_found_or_what_an_ended_sitting_left(
    check: FunctionCheck, oda: User, per: User
) -> None:
    finding = found(first(check), oda)
    with pytest.raises(ValidationError, match="Only who entered it"):
        take_back(finding, by=per, key=uuid4())
    end_sitting(finding.sitting, by=oda)
    with pytest.raises(ValidationError, match="during the same sitting"):
        take_back(finding, by=oda, key=uuid4())


def test_a_defect_goes_with_its_finding_but_not_once_work_is_to_mend_it(check: FunctionCheck, oda: User) -> None:
    item = first(check)
    take_back(found(item, oda, "defect", note="knocks"), by=oda, key=uuid4())
    assert not Defect.objects.not_cured().exists()
    again = found(item, oda, "defect", note="knocks")
    work_order_from_defect(Defect.objects.not_cured().get(), a_user("planner", "vera"))
    with pytest.raises(ValidationError, match="is to mend it"):
        take_back(again, by=oda, key=uuid4())


@pytest.mark.parametrize("result", ["defect", "worn", "not_seen"])
def test_what_keeps_people_out_is_not_taken_back_by_a_tap(check: FunctionCheck, oda: User, result: str) -> None:
    CheckPoint.objects.update(blocks_entry=True)
    finding = found(first(check), oda, result, note="latch stiff", reason="ice")
    with pytest.raises(ValidationError, match="keeps people out"):
        take_back(finding, by=oda, key=uuid4())
    assert not TakenBack.objects.exists()


def test_the_ledger_of_what_was_taken_back_refuses_to_be_rewritten(check: FunctionCheck, oda: User) -> None:
    taken = take_back(found(first(check), oda), by=oda, key=uuid4())
    for rewrite in (taken.delete, taken.save):
        with pytest.raises(DatabaseError, match="keeps what happened"), transaction.atomic():
            rewrite()


# two people differ


def test_of_two_different_findings_the_worse_counts_whoever_came_last(
    check: FunctionCheck, oda: User, per: User
) -> None:
    one, two = check.items.order_by("component__tag")
    sitting(check, per)
    found(one, oda, "sound")
    found(one, per, "worn")
    found(two, oda, "defect", note="knocks")
    found(two, per, "sound")
    assert (counting(one), counting(two)) == ("worn", "defect")
    assert {finding.result for finding in latest_findings(check.kiln)} == {"worn", "defect"}
    assert [finding.by for finding in in_dispute(two)] == [oda, per]


def test_a_check_is_not_complete_while_two_differ(check: FunctionCheck, oda: User, per: User) -> None:
    one, two = check.items.order_by("component__tag")
    for item in (one, two):
        found(item, oda)
    found(one, per, "worn")
    for at in Sitting.objects.all():
        end_sitting(at, by=at.by)
    with pytest.raises(ValidationError, match="two people found different things"):
        complete_check(check, by=oda)
    decide(one, one.findings.get(result="sound"), by=per, key=uuid4(), why="Oda was right, it is paint")
    assert counting(one) == "sound" and complete_check(check, by=oda).completed_at


def test_a_finding_of_an_ended_sitting_is_corrected_as_before(check: FunctionCheck, oda: User, per: User) -> None:
    item = first(check)
    end_sitting(found(item, oda, "worn").sitting, by=oda)
    found(item, per, "sound")
    assert counting(item) == "sound" and in_dispute(item) == []


def test_who_comes_round_to_the_other_ends_it_and_who_insists_does_not(
    check: FunctionCheck, oda: User, per: User
) -> None:
    item = first(check)
    found(item, oda, "sound")
    found(item, per, "worn")
    found(item, oda, "sound", note="looked again")
    assert counting(item) == "worn" and len(in_dispute(item)) == 2
    found(item, per, "sound")
    assert counting(item) == "sound" and in_dispute(item) == []


def test_a_third_person_or_a_later_day_does_not_settle_it_by_the_way(
    check: FunctionCheck, oda: User, per: User
) -> None:
    item = first(check)
    found(item, oda, "sound")
    found(item, per, "worn")
    for at in Sitting.objects.all():
        end_sitting(at, by=at.by)
    found(item, a_user("technician", "una"), "sound")
    assert counting(item) == "worn" and len(in_dispute(item)) == 3


def test_a_difference_ends_when_one_of_the_two_is_taken_back(check: FunctionCheck, oda: User, per: User) -> None:
    item = first(check)
    mistaken = found(item, oda, "defect", note="knocks")
    found(item, per, "sound")
    take_back(mistaken, by=oda, key=uuid4())
    assert counting(item) == "sound" and in_dispute(item) == []


def test_only_those_who_found_it_or_sign_off_work_decide(check: FunctionCheck, oda: User, per: User) -> None:
    item = first(check)
    sound = found(item, oda, "sound")
    found(item, per, "worn")
    with pytest.raises(ValidationError, match="one of those who found it"):
        decide(item, sound, by=a_user("technician", "una"), key=uuid4(), why="because")
    with pytest.raises(ValidationError, match="Say why"):
        decide(item, sound, by=oda, key=uuid4(), why=" ")
    decide(item, sound, by=a_user("kiln_master", "ilse"), key=uuid4(), why="looked myself")
    assert counting(item) == "sound"


def test_where_a_fault_bars_entry_the_better_one_takes_who_signs_off_work(
    check: FunctionCheck, oda: User, per: User
) -> None:
    CheckPoint.objects.update(blocks_entry=True)
    item = first(check)
    sound, worn = found(item, oda, "sound"), found(item, per, "worn", note="latch stiff")
    with pytest.raises(ValidationError, match="who signs off work"):
        decide(item, sound, by=oda, key=uuid4(), why="opens well")
    decide(item, worn, by=oda, key=uuid4(), why="so it is")
    assert counting(item) == "worn"


# the pages


@pytest.mark.parametrize("other", ["sound", "worn"])
def test_whoever_goes_on_to_the_next_point_is_told_that_another_differs(
    client: Client, check: FunctionCheck, oda: User, per: User, other: str
) -> None:
    found(first(check), oda, other)
    found(first(check), per, "worn", note="bright ring")
    following = page_of(CheckItem.objects.exclude(pk=first(check).pk).filter(check_up=check)[0])
    shown = signed_in(client, per).get(following).content.decode()
    assert ("Somebody else found something else there" in shown) is (other == "sound")


def test_both_see_both_and_one_of_them_decides_on_the_page(
    client: Client, check: FunctionCheck, oda: User, per: User
) -> None:
    item = first(check)
    sound = found(item, oda, "sound")
    found(item, per, "worn", note="bright ring")
    for user in (oda, per):
        shown = signed_in(client, user).get(page_of(item)).content.decode()
        assert "Two people found different things here" in shown and "bright ring" in shown
    assert "two findings differ" in client.get(check.get_absolute_url()).content.decode()
    client.post(page_of(item) + "decide/", {"key": uuid4(), "finding": sound.pk, "why": ""})
    assert counting(item) == "worn"
    answer = client.post(page_of(item) + "decide/", {"key": uuid4(), "finding": sound.pk, "why": "paint"}, follow=True)
    assert "Two people" not in answer.content.decode() and counting(item) == "sound"


def test_what_was_entered_stays_in_sight_on_the_next_point_with_a_way_back(
    client: Client, check: FunctionCheck, oda: User
) -> None:
    signed_in(client, oda)
    sitting(check, oda)
    one, two = check.items.order_by("component__tag")
    said = {"key": uuid4(), "result": "worn", "shown_at": time.time() - 1}
    following = client.post(page_of(one), said)["Location"]
    assert following == page_of(two)
    shown = client.get(following).content.decode()
    assert "Entered:" in shown and "Undo" in shown
    back = f"/rounds/checks/{check.number}/findings/{Finding.objects.get().pk}/take-back/"
    assert back in shown
    assert client.post(back, {"key": uuid4()})["Location"] == page_of(one)
    shown = client.get(page_of(one)).content.decode()
    assert "taken back" in shown and "Correct the finding" not in shown


def test_a_tap_that_comes_again_enters_nothing_more(client: Client, check: FunctionCheck, oda: User) -> None:
    signed_in(client, oda)
    sitting(check, oda)
    one, two = check.items.order_by("component__tag")
    said = {"key": uuid4(), "result": "sound", "shown_at": time.time() - 1}
    assert client.post(page_of(one), said)["Location"] == client.post(page_of(one), said)["Location"]
    assert "entered at another point" in client.post(page_of(two), said).content.decode()
    assert Finding.objects.count() == 1


def test_a_tap_that_comes_before_anybody_can_have_looked_is_refused_without_the_script_too(
    client: Client, check: FunctionCheck, oda: User
) -> None:
    signed_in(client, oda)
    sitting(check, oda)
    said = {"key": uuid4(), "result": "sound", "note": "hums", "shown_at": time.time()}
    shown = client.post(page_of(first(check)), said).content.decode()
    assert "before this point could be looked at" in shown and "hums" in shown
    assert not Finding.objects.exists()


@pytest.mark.parametrize(
    ("result", "word"), [("sound", "relies on it"), ("defect", "nobody may enter K1"), ("worn", "Nobody may enter K1")]
)
def test_where_a_fault_bars_entry_a_second_act_says_what_follows(
    client: Client, check: FunctionCheck, oda: User, result: str, word: str
) -> None:
    CheckPoint.objects.update(blocks_entry=True)
    signed_in(client, oda)
    sitting(check, oda)
    item = first(check)
    said = {"key": str(uuid4()), "result": result, "note": "latch stiff"}
    shown = client.post(page_of(item), said).content.decode()
    assert word in shown and 'name="said_again"' in shown and 'class="verdicts"' not in shown
    assert said["key"] in shown and "latch stiff" in shown
    other = "worn" if result == "sound" else "sound"
    client.post(page_of(item), said | {"said_again": other})
    assert not Finding.objects.exists()
    client.post(page_of(item), said | {"said_again": result})
    assert Finding.objects.get().result == result


def test_what_is_missing_is_said_before_the_second_act(client: Client, check: FunctionCheck, oda: User) -> None:
    CheckPoint.objects.update(blocks_entry=True)
    signed_in(client, oda)
    sitting(check, oda)
    shown = client.post(page_of(first(check)), {"key": uuid4(), "result": "not_seen"}).content.decode()
    assert "Say why it could not be seen" in shown and 'name="said_again"' not in shown
