"""A point that bars entry and is worn or was not seen: nobody goes in until somebody entitled says why they may."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, transaction
from django.test import Client

from maintenance.checks.checks import Answer, record_finding, start_check, start_sitting
from maintenance.entry.bars import BarKind, bars_of, bars_to_entry, door_words_of
from maintenance.entry.letting_in import let_in, take_back
from maintenance.entry.permits import refuse_where_blocked
from maintenance.models import CheckItem, CheckPoint, Defect, Finding, LetIn, ProofTest, Sitting, WorkOrder
from plant import clock
from plant.models import Component, Kiln, User
from tests.factories import (
    CheckPointFactory,
    ComponentFactory,
    ComponentKindFactory,
    KilnFactory,
    TaskSheetFactory,
    WorkOrderFactory,
)
from tests.maintenance.mill import a_person, a_user, opened, signed_in

pytestmark = pytest.mark.django_db

WHY = "I opened it three times from inside with Per outside."
STIFF = Answer("worn", note="needs two hands")


def a_door(tag: str = "K1") -> Component:
    kind = ComponentKindFactory(code="escape-door", name="Escape door", group="safety", end_view_no=3)
    point = {"seen_in": "running", "per": CheckPoint.Per.COMPONENT, "blocks_entry": True}
    CheckPointFactory(code="escape-latch-inside", what="Latch", kind=kind, **point)
    door: Component = ComponentFactory(kiln=KilnFactory(tag=tag), kind=kind, tag="escape-door", name="escape door")
    return door


def looked(kiln: Kiln, by: User) -> tuple[CheckItem, Sitting]:
    check = start_check(kiln, by=by)
    sitting = start_sitting(check, "running", by=by, is_cautions_read=True, note="it runs")
    return check.items.get(), sitting


def found(kiln: Kiln, answer: Answer, by: User) -> Finding:
    item, sitting = looked(kiln, by)
    return record_finding(item, sitting, answer, by=by, key=uuid4())


@pytest.fixture
def per(db: Any) -> User:
    return a_user("technician", "per")


@pytest.fixture
def ilse(db: Any) -> User:
    return a_user("kiln_master", "ilse")


@pytest.mark.parametrize("answer", [STIFF, Answer("not_seen", reason="snow against it")])
def test_a_blocking_point_that_is_worn_or_was_not_seen_bars_entry(answer: Answer, per: User) -> None:
    kiln = a_door().kiln
    finding = found(kiln, answer, per)
    bar = bars_of(kiln)[0]
    assert (bar.kind, bar.finding_id, bar.since) == (BarKind.POINT, finding.pk, finding.at)
    assert answer.note in bar.what and answer.reason in bar.what
    with pytest.raises(ValidationError, match="Nobody may enter K1: escape door"):
        refuse_where_blocked(kiln)
    with pytest.raises(ValidationError, match="Nobody may enter K1"):
        opened(kiln, a_user("technician"))


@pytest.mark.parametrize("result", ["worn", "not_seen"])
def test_it_asks_for_a_word(result: str, per: User) -> None:
    item, sitting = looked(a_door().kiln, per)
    with pytest.raises(ValidationError, match=r"write in the note|Say why it could not be seen"):
        record_finding(item, sitting, Answer(result, note=" "), by=per, key=uuid4())
    assert not Finding.objects.exists()


def test_a_point_that_bars_nothing_may_be_worn_without_a_word(per: User) -> None:
    kiln = a_door().kiln
    CheckPoint.objects.update(blocks_entry=False)
    found(kiln, Answer("worn"), per)
    assert not bars_of(kiln)


def test_a_sound_finding_after_it_ends_the_bar_whether_corrected_or_in_the_next_check(per: User) -> None:
    kiln = a_door().kiln
    item, sitting = looked(kiln, per)
    for answer, barred in ((STIFF, True), (Answer("sound"), False), (STIFF, True)):
        record_finding(item, sitting, answer, by=per, key=uuid4())
        assert bool(bars_of(kiln)) is barred
    item.check_up.completed_at = clock.now()
    item.check_up.save()
    found(kiln, Answer("sound"), per)
    assert not bars_of(kiln)


def test_of_two_who_differ_the_worse_counts_until_one_decides(per: User) -> None:
    kiln = a_door().kiln
    item, sitting = looked(kiln, per)
    record_finding(item, sitting, STIFF, by=per, key=uuid4())
    oda = a_user("technician")
    _, hers = looked(kiln, oda)
    record_finding(item, hers, Answer("sound"), by=oda, key=uuid4())
    assert "needs two hands" in bars_of(kiln)[0].what


def test_somebody_entitled_lets_people_in_by_name_until_the_next_finding(per: User, ilse: User) -> None:
    kiln = a_door().kiln
    finding = found(kiln, STIFF, per)
    said = let_in(finding, by=ilse, key=uuid4(), why=WHY)
    assert not bars_of(kiln)
    word = door_words_of(kiln)[-1]
    assert word.let_in_id == said.pk and "Ilse said on" in word.what and WHY in word.what
    sitting = Sitting.objects.get()
    record_finding(finding.item, sitting, STIFF, by=per, key=uuid4())
    assert [bar.kind for bar in bars_of(kiln)] == [BarKind.POINT]
    assert all(word.is_overdue_test for word in door_words_of(kiln))


def test_who_may_not_let_people_in(per: User, ilse: User) -> None:
    kiln = a_door().kiln
    finding = found(kiln, STIFF, ilse)
    with pytest.raises(PermissionDenied):
        let_in(finding, by=per, key=uuid4(), why=WHY)
    with pytest.raises(ValidationError, match="Nobody with the right is left"):
        let_in(finding, by=ilse, key=uuid4(), why=WHY)
    planner = a_user("planner")
    with pytest.raises(ValidationError, match=r"Ilse took part.*These may: Oda"):
        let_in(finding, by=ilse, key=uuid4(), why=WHY)
    for short in ("", "ok", "fine fine fine fine"):
        with pytest.raises(ValidationError, match="in a sentence"):
            let_in(finding, by=planner, key=uuid4(), why=short)
    assert bars_of(kiln) and not LetIn.objects.exists()


def test_a_second_word_and_a_late_one_are_refused(per: User, ilse: User) -> None:
    kiln = a_door().kiln
    finding = found(kiln, STIFF, per)
    key = uuid4()
    first = let_in(finding, by=ilse, key=key, why=WHY)
    assert let_in(finding, by=ilse, key=key, why=WHY) == first
    with pytest.raises(ValidationError, match="said so already"):
        let_in(finding, by=a_user("planner"), key=uuid4(), why=WHY)
    record_finding(finding.item, Sitting.objects.get(), Answer("sound"), by=per, key=uuid4())
    with pytest.raises(ValidationError, match="does not bar entry any more"):
        let_in(finding, by=a_user("planner"), key=uuid4(), why=WHY)


def test_taken_back_it_bars_again_and_may_be_said_anew(per: User, ilse: User) -> None:
    kiln = a_door().kiln
    finding = found(kiln, STIFF, per)
    said = let_in(finding, by=ilse, key=uuid4(), why=WHY)
    with pytest.raises(ValidationError, match="why it no longer holds"):
        take_back(said, by=per, key=uuid4(), why=" ")
    ended = take_back(said, by=per, key=uuid4(), why="stuck again")
    assert take_back(said, by=ilse, key=uuid4(), why="me too") == ended
    assert bars_of(kiln)
    let_in(finding, by=ilse, key=uuid4(), why=WHY)
    assert not bars_of(kiln)


def test_what_was_said_is_never_rewritten(per: User, ilse: User) -> None:
    said = let_in(found(a_door().kiln, STIFF, per), by=ilse, key=uuid4(), why=WHY)
    for change in (lambda: LetIn.objects.update(why="x"), lambda: said.delete()):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def test_a_defect_at_such_a_point_is_not_entered_by_a_word_and_raises_its_work_once(per: User, ilse: User) -> None:
    kiln = a_door().kiln
    item, sitting = looked(kiln, per)
    broken = Answer("defect", note="does not open")
    finding = record_finding(item, sitting, broken, by=per, key=uuid4())
    record_finding(item, sitting, broken, by=per, key=uuid4())
    assert [bar.kind for bar in bars_of(kiln)] == [BarKind.DEFECT]
    assert (Defect.objects.count(), WorkOrder.objects.count()) == (1, 1)
    with pytest.raises(ValidationError, match="does not bar entry any more"):
        let_in(finding, by=ilse, key=uuid4(), why=WHY)
    item.check_up.completed_at = clock.now()
    item.check_up.save()
    found(kiln, broken, per)
    assert (Defect.objects.count(), WorkOrder.objects.count()) == (1, 1)


def test_a_passed_proof_test_that_is_signed_off_ends_the_doubt(per: User) -> None:
    door = a_door()
    found(door.kiln, STIFF, per)
    sheet = TaskSheetFactory(code="proof", kind=door.kind, is_proof_test=True)
    order = WorkOrderFactory(kiln=door.kiln, component=door, sheet=sheet, state="done")
    assert order.pk in bars_of(door.kiln)[0].ended_by
    ProofTest.objects.create(
        key=uuid4(),
        component=door,
        work_order=order,
        tested_at=clock.now() + timedelta(seconds=1),
        tested_by=a_person("oda"),
        outcome="passed",
        seal_no="S-1",
        next_due_on=clock.today(door.kiln.mill.zone) + timedelta(days=30),
    )
    assert bars_of(door.kiln)
    WorkOrder.objects.update(state="signed_off")
    assert not bars_of(door.kiln)


def test_the_number_of_queries_does_not_grow_with_the_kilns(per: User, django_assert_max_num_queries: Any) -> None:
    for number in range(1, 6):
        found(a_door(f"K{number}").kiln, STIFF, per)
    kilns = list(Kiln.objects.all())
    with django_assert_max_num_queries(6):
        assert len(bars_to_entry(kilns)) == 5


# what is said at the door


def test_an_overdue_proof_test_of_an_escape_door_warns_at_every_entry(client: Client, per: User) -> None:
    door = a_door()
    TaskSheetFactory(code="proof", kind=door.kind, is_proof_test=True)
    assert "never proof tested" in door_words_of(door.kiln)[0].what
    overdue = clock.today(door.kiln.mill.zone) - timedelta(days=1)
    test = {"component": door, "tested_by": per.person, "outcome": "passed", "seal_no": "S-1"}
    ProofTest.objects.create(key=uuid4(), tested_at=clock.now(), next_due_on=overdue, **test)
    words = f"The escape door’s proof test is overdue since {overdue.day}"
    job = WorkOrderFactory(kiln=door.kiln, state="ready", needs_state="empty")
    check = start_check(door.kiln, by=per)
    pages = (
        "/kilns/K1/",
        f"/work-orders/{job.number}/start/",
        f"/rounds/checks/{check.number}/sit/?kiln_state=open_empty",
    )
    for path in pages:
        assert words.replace("’", "&#x27;") in signed_in(client, per).get(path).content.decode(), path
    ProofTest.objects.create(key=uuid4(), tested_at=clock.now(), next_due_on=overdue + timedelta(days=1), **test)
    assert not door_words_of(door.kiln)


# pages


def test_the_page_takes_the_sentence_and_the_kiln_shows_it(client: Client, per: User, ilse: User) -> None:
    kiln = a_door().kiln
    finding = found(kiln, STIFF, per)
    url = f"/rounds/findings/{finding.pk}/let-in/"
    master = signed_in(client, ilse)
    assert url in master.get("/kilns/K1/").content.decode()
    assert "in a sentence" in master.post(url, {"key": uuid4(), "why": "ok"}).content.decode()
    assert master.post(url, {"key": uuid4(), "why": WHY}).status_code == 302
    page = master.get("/kilns/K1/").content.decode()
    assert WHY in page and "Ilse said on" in page
    back = f"/rounds/let-ins/{LetIn.objects.get().pk}/take-back/"
    assert master.post(back, {"key": uuid4(), "why": "stuck again"}).status_code == 302
    assert bars_of(kiln)


def test_who_found_it_reads_who_may_say_so(client: Client, ilse: User) -> None:
    finding = found(a_door().kiln, STIFF, ilse)
    a_user("planner")
    page = signed_in(client, ilse).get(f"/rounds/findings/{finding.pk}/let-in/").content.decode()
    assert "These may: Oda" in page and "<textarea" not in page.split("<main")[1]
