"""A work order from its start to its sign-off, and what each move refuses."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from inventory.actions import receive, reserve
from inventory.models import StockLevel
from maintenance.door.closing import close_permit
from maintenance.entry.door import come_out
from maintenance.models import (
    Caution,
    Defect,
    Labour,
    Placement,
    StandingTask,
    StepRecord,
    WorkOrder,
    WorkPart,
    WorkSkill,
)
from maintenance.orders.calculations.work_states import MOVES, may_move
from maintenance.work import course as act
from maintenance.work import records as enter
from plant import clock
from plant.models import Change, Downtime
from tests.factories import (
    ComponentFactory,
    DefectFactory,
    MillFactory,
    PartFactory,
    QualificationFactory,
    SkillFactory,
    TaskSheetFactory,
    WorkOrderFactory,
    WorkStepFactory,
)
from tests.maintenance.mill import a_person, a_user, opened

pytestmark = pytest.mark.django_db


def a_job(**fields: Any) -> WorkOrder:
    """A job that takes nobody inside, unless said otherwise."""
    return WorkOrderFactory(**{"needs_state": "any", **fields})


def started(order: WorkOrder, by: Any) -> WorkOrder:
    """The job, under way."""
    return act.start(order, by=by, version=order.version, is_cautions_read=True, is_own_lock_on=True)


def history(order: WorkOrder) -> list[str]:
    return [change.act for change in Change.objects.about(order)]


def test_the_table_of_moves_names_every_state_and_ends_in_two() -> None:
    assert set(MOVES) == set(WorkOrder.State.values)
    assert {state for state in MOVES if not MOVES[state]} == {"signed_off", "withdrawn"}
    assert all(may_move(state, to) == (to in MOVES[state]) for state in MOVES for to in MOVES)
    with pytest.raises(KeyError):
        may_move("raised", "forgotten")


def test_a_job_goes_from_start_to_sign_off_with_its_history() -> None:
    technician, planner = a_user("technician"), a_user("planner", "ilse")
    order = started(a_job(), technician)
    order = act.finish(order, by=technician, version=order.version, result="freed")
    order = act.sign_off(order, by=planner, version=order.version)
    assert (order.state, order.result, order.signed_off_by) == ("signed_off", "freed", planner)
    assert history(order) == ["started", "done", "signed off"]
    assert Change.objects.about(order).last().before == {"state": "done"}  # type: ignore[union-attr]


def test_a_job_is_not_started_before_the_cautions_are_read() -> None:
    with pytest.raises(ValidationError, match="Read the cautions"):
        act.start(a_job(), by=a_user("technician"), version=0, is_cautions_read=False)


def test_a_stale_screen_changes_nothing_and_says_who_was_there() -> None:
    order, planner = a_job(), a_user("planner", "ilse")
    WorkOrder.objects.filter(pk=order.pk).update(version=3)
    Change.record(order, "brought forward", by=planner)
    with pytest.raises(ValidationError, match="Ilse, brought forward"):
        act.start(order, by=a_user("technician"), version=0, is_cautions_read=True)


def test_starting_twice_starts_once() -> None:
    order, user = a_job(), a_user("technician")
    started(order, user)
    started(order, user)
    assert history(order) == ["started"]


@pytest.mark.parametrize("role", ["storekeeper", "manager", "auditor"])
def test_who_does_no_work_starts_none(role: str) -> None:
    with pytest.raises(PermissionDenied):
        started(a_job(), a_user(role))


def test_a_technician_signs_nothing_off() -> None:
    with pytest.raises(PermissionDenied):
        act.sign_off(a_job(state="done"), by=a_user("technician"), version=0)


@pytest.mark.parametrize("state", ["raised", "ready", "placed", "under_way", "withdrawn"])
def test_only_finished_work_is_signed_off(state: str) -> None:
    order = a_job(state=state, withdrawn_why="twice on the list")
    with pytest.raises(ValidationError, match="cannot become signed off"):
        act.sign_off(order, by=a_user("planner"), version=0)


# people and skills


def test_a_skill_that_ran_out_is_named_with_its_day() -> None:
    order, user = a_job(), a_user("technician")
    WorkSkill.objects.create(work_order=order, skill=SkillFactory(code="electrical"))
    QualificationFactory(person=user.person, skill__code="electrical", valid_until=date(2020, 3, 31))
    with pytest.raises(ValidationError, match=r"“electrical”. Oda's ran out on 2020-03-31"):
        started(order, user)


def test_a_skill_that_nobody_holds_is_named() -> None:
    order = a_job()
    WorkSkill.objects.create(work_order=order, skill=SkillFactory(code="electrical"))
    with pytest.raises(ValidationError, match="Nobody named holds it"):
        started(order, a_user("technician"))


def test_one_of_the_crew_may_bring_the_skill_and_all_are_noted() -> None:
    order, user = a_job(crew=2), a_user("technician")
    WorkSkill.objects.create(work_order=order, skill=SkillFactory(code="electrical"))
    people = [user.person, a_person("per", "electrical")]
    act.start(order, by=user, version=0, is_cautions_read=True, people=people)  # type: ignore[arg-type]
    assert {one.person.name for one in order.assignments.all()} == {"Oda", "Per"}


def test_a_job_for_two_is_not_started_alone() -> None:
    with pytest.raises(ValidationError, match="takes 2 people, 1 named"):
        started(a_job(crew=2), a_user("technician"))


# entry


@pytest.mark.parametrize("needs_state", ["empty", "still"])
def test_a_job_inside_needs_the_chamber_opened(needs_state: str) -> None:
    order, user = a_job(needs_state=needs_state), a_user("technician")
    with pytest.raises(ValidationError, match="Open K1 for entry first"):
        started(order, user)
    opened(order.kiln, user, order)
    assert started(order, user).state == "under_way"


def test_a_job_inside_is_not_done_while_the_chamber_is_open_for_it() -> None:
    order, user = a_job(needs_state="empty"), a_user("technician")
    permit = opened(order.kiln, user, order)
    order = started(order, user)
    with pytest.raises(ValidationError, match=r"Inside K1: Oda.*close the chamber"):
        act.finish(order, by=user, version=order.version)
    come_out(permit, user.person, by=user, key=uuid4())  # type: ignore[arg-type]
    close_permit(permit, by=user, key=uuid4(), is_everybody_out=True, jobs=[order.pk])
    order.refresh_from_db()
    assert order.is_paused
    assert act.finish(order, by=user, version=order.version).state == "done"


def test_jobs_share_a_lock_out_and_each_is_done_when_the_chamber_is_closed() -> None:
    user = a_user("technician")
    first = a_job(needs_state="empty")
    second = a_job(needs_state="empty", kiln=first.kiln)
    permit = opened(first.kiln, user, first)
    first, second = started(first, user), started(second, user)
    come_out(permit, user.person, by=user, key=uuid4())  # type: ignore[arg-type]
    first = act.pause(first, by=user, version=first.version)
    with pytest.raises(ValidationError, match=second.number):
        act.finish(first, by=user, version=first.version)
    with pytest.raises(ValidationError, match=f"Still going on inside K1: {second.number}"):
        close_permit(permit, by=user, key=uuid4(), is_everybody_out=True)
    close_permit(permit, by=user, key=uuid4(), is_everybody_out=True, jobs=[second.pk])
    second.refresh_from_db()
    assert {act.finish(one, by=user, version=one.version).state for one in (first, second)} == {"done"}


def test_where_a_defect_blocks_entry_only_its_own_mending_starts_from_outside() -> None:
    user = a_user("technician")
    defect = DefectFactory(what="latch corroded", blocks_entry=True)
    other = a_job(kiln=defect.kiln, needs_state="empty")
    mending = a_job(kiln=defect.kiln, needs_state="empty", defect=defect)
    with pytest.raises(ValidationError, match="Only the work that mends or proves this"):
        started(other, user)
    with pytest.raises(ValidationError, match="name who locked the kiln out"):
        started(mending, user)
    mending = act.start(mending, by=user, version=0, is_cautions_read=True, locked_out_outside_by=user.person)
    assert Change.objects.about(mending).get().after["from_outside"] is True


def test_the_mending_from_outside_starts_when_everybody_is_out() -> None:
    user = a_user("technician")
    mending = a_job(needs_state="empty")
    permit = opened(mending.kiln, user)
    mending.defect = DefectFactory(kiln=mending.kiln, blocks_entry=True)
    mending.save()
    start = {"by": user, "version": 0, "is_cautions_read": True, "locked_out_outside_by": user.person}
    with pytest.raises(ValidationError, match="Count everybody out"):
        act.start(mending, **start)
    close_permit(permit, by=user, key=uuid4(), is_everybody_out=True)
    assert act.start(mending, **start).state == "under_way"


def test_who_stays_outside_is_not_among_those_inside() -> None:
    order, user = a_job(needs_state="empty"), a_user("technician")
    permit = opened(order.kiln, user, order)
    team = [user.person, permit.watch_outside]
    with pytest.raises(ValidationError, match="Per stays outside K1 and cannot do work inside"):
        act.start(order, by=user, version=0, is_cautions_read=True, people=team)


def test_what_blocks_entry_is_not_mended_while_a_reading_says_otherwise() -> None:
    defect = DefectFactory(blocks_entry=True, is_safety=True)
    order = a_job(kiln=defect.kiln, defect=defect, state="under_way")
    step = WorkStepFactory(work_order=order, reading_name="Failures to open", low=Decimal(0), high=Decimal(0))
    enter.record_step(step, by=a_user("technician"), key=uuid4(), reading=Decimal(2), note="oiled")
    WorkOrder.objects.filter(pk=order.pk).update(state="done")
    with pytest.raises(ValidationError, match="what keeps people out is not mended"):
        act.sign_off(order, by=a_user("planner", "ilse"), version=0, is_proved=True)
    assert Defect.objects.blocking_entry().exists()


def test_signing_off_what_blocked_entry_needs_the_word_that_it_was_tried() -> None:
    defect = DefectFactory(blocks_entry=True, is_safety=True)
    order = a_job(kiln=defect.kiln, defect=defect, state="done")
    planner = a_user("planner")
    with pytest.raises(ValidationError, match="lets people into K1 again"):
        act.sign_off(order, by=planner, version=0)
    act.sign_off(order, by=planner, version=0, is_proved=True)
    assert not Defect.objects.blocking_entry().exists()


def test_a_job_outside_starts_while_entry_is_blocked() -> None:
    defect = DefectFactory(blocks_entry=True)
    assert started(a_job(kiln=defect.kiln, needs_state="running"), a_user("technician")).state == "under_way"


# steps and readings


def test_required_steps_are_there_before_the_work_is_done() -> None:
    order, user = a_job(), a_user("technician")
    steps = [WorkStepFactory(work_order=order, no=no, is_required=no < 3) for no in (1, 2, 3)]
    order = started(order, user)
    enter.record_step(steps[0], by=user, key=uuid4())
    with pytest.raises(ValidationError, match="Not done yet: step 2"):
        act.finish(order, by=user, version=order.version)
    enter.record_step(steps[1], by=user, key=uuid4())
    assert act.finish(order, by=user, version=order.version).state == "done"


def test_a_step_taken_back_is_not_done_any_more() -> None:
    order, user = a_job(), a_user("technician")
    step = WorkStepFactory(work_order=order)
    order = started(order, user)
    enter.record_step(step, by=user, key=uuid4())
    enter.record_step(step, by=user, key=uuid4(), is_done=False, note="wrong fan")
    assert act.steps_left(order) == [step]
    last = Change.objects.about(order).last()
    assert last and (last.before["done"], last.after["done"], last.note) == (True, False, "wrong fan")


def test_a_step_that_asks_for_a_reading_gets_one() -> None:
    order, user = a_job(), a_user("technician")
    step = WorkStepFactory(work_order=order, reading_name="Force at the handle")
    started(order, user)
    with pytest.raises(ValidationError, match="Force at the handle"):
        enter.record_step(step, by=user, key=uuid4())


@pytest.mark.parametrize(
    ("low", "high", "reading", "inside"),
    [
        (5, 15, "5", True),
        (5, 15, "15", True),
        (5, 15, "4.999", False),
        (None, 100, "100.001", False),
        (0, None, "7", True),
    ],
)
def test_the_limits_themselves_are_inside(low: int | None, high: int | None, reading: str, inside: bool) -> None:
    step = WorkStepFactory.build(work_order=None, low=low, high=high)
    assert act.is_outside_limits(step, Decimal(reading)) is not inside


def test_a_reading_outside_its_limits_is_answered_by_a_note_or_a_defect() -> None:
    component = ComponentFactory()
    order, user = a_job(kiln=component.kiln, component=component), a_user("technician")
    step = WorkStepFactory(work_order=order, reading_name="Gap", reading_unit="mm", low=1, high=4)
    started(order, user)
    with pytest.raises(ValidationError, match="1 to 4 mm"):
        enter.record_step(step, by=user, key=uuid4(), reading=Decimal("6.5"))
    enter.record_step(step, by=user, key=uuid4(), reading=Decimal("6.5"), note="set to 3 afterwards")
    assert not Defect.objects.exists()
    enter.record_step(step, by=user, key=uuid4(), reading=Decimal("6.5"), makes_defect=True)
    assert Defect.objects.get().what == "Gap 6.5 mm, should be 1 to 4 mm"


def test_a_step_sent_twice_is_recorded_once() -> None:
    order, user, key = a_job(), a_user("technician"), uuid4()
    step = WorkStepFactory(work_order=order)
    started(order, user)
    assert enter.record_step(step, by=user, key=key) == enter.record_step(step, by=user, key=key)
    assert StepRecord.objects.count() == 1


def test_nothing_is_entered_before_the_start() -> None:
    step = WorkStepFactory(work_order=a_job())
    with pytest.raises(ValidationError, match="start it first"):
        enter.record_step(step, by=a_user("technician"), key=uuid4())


# time and parts


def test_time_is_taken_back_by_a_minus_but_never_below_zero() -> None:
    order, user = a_job(), a_user("technician")
    started(order, user)
    person, key = a_person("oda"), uuid4()
    enter.record_labour(order, person, 45, by=user, key=key)
    enter.record_labour(order, person, 45, by=user, key=key)
    enter.record_labour(order, person, -15, by=user, key=uuid4())
    assert sum(entry.minutes for entry in Labour.objects.all()) == 30
    with pytest.raises(ValidationError, match="no more can be taken back"):
        enter.record_labour(order, person, -31, by=user, key=uuid4())


def a_shelf(quantity: int) -> Any:
    MillFactory()
    part = PartFactory()
    receive(part, Decimal(quantity), by=a_user("storekeeper", "nils"), key=uuid4())
    return part


def test_a_part_is_taken_from_what_was_set_aside_and_the_rest_is_free_when_done() -> None:
    part, order, user = a_shelf(5), a_job(), a_user("technician")
    held = reserve(part, Decimal(3), order.due_at.date(), order.number)
    WorkPart.objects.create(work_order=order, part=part, quantity=3, reservation=held)
    order, key = started(order, user), uuid4()
    enter.use_part(order, part, Decimal(2), by=user, key=key)
    enter.use_part(order, part, Decimal(2), by=user, key=key)
    held.refresh_from_db()
    assert (held.used, held.closed_at) == (2, None)
    act.finish(order, by=user, version=order.version)
    held.refresh_from_db()
    assert held.closed_at
    assert StockLevel.objects.get(part=part).on_hand == 3
    assert history(order).count("part taken") == 1


def test_more_than_was_set_aside_and_a_part_nobody_foresaw_can_be_taken() -> None:
    part, order, user = a_shelf(5), a_job(), a_user("technician")
    order = started(order, user)
    enter.use_part(order, part, Decimal(1), by=user, key=uuid4())
    enter.use_part(order, part, Decimal(2), by=user, key=uuid4())
    line = WorkPart.objects.select_related("reservation").get(work_order=order)
    assert line.reservation and (line.reservation.used, line.reservation.is_planned) == (3, False)


def test_a_part_that_is_not_there_cannot_be_taken() -> None:
    part, order, user = a_shelf(1), a_job(), a_user("technician")
    started(order, user)
    with pytest.raises(ValidationError, match="wick"):
        enter.use_part(order, part, Decimal(2), by=user, key=uuid4())
    assert StockLevel.objects.get(part=part).on_hand == 1


# withdrawing, sending back


def test_withdrawn_work_says_why_and_gives_its_parts_and_place_free() -> None:
    part, order = a_shelf(5), a_job(state="placed")
    held = reserve(part, Decimal(3), order.due_at.date(), order.number)
    Placement.objects.create(work_order=order, start_at=order.due_at, end_at=order.due_at + timedelta(hours=2))
    with pytest.raises(ValidationError, match="Say why"):
        act.withdraw(order, by=a_user("planner"), version=0, why="  ")
    order = act.withdraw(order, by=a_user("planner"), version=0, why="done with the other kiln")
    held.refresh_from_db()
    assert (order.state, order.withdrawn_why) == ("withdrawn", "done with the other kiln")
    assert held.closed_at
    assert not Placement.objects.exists()


def test_done_work_is_not_withdrawn_any_more() -> None:
    with pytest.raises(ValidationError, match="cannot become withdrawn"):
        act.withdraw(a_job(state="done"), by=a_user("planner"), version=0, why="changed my mind")


def test_finished_work_can_be_sent_back_with_a_reason() -> None:
    order = a_job(state="done", done_at=clock.now())
    order = act.send_back(order, by=a_user("planner"), version=0, why="guard is still off")
    assert (order.state, order.done_at) == ("under_way", None)
    assert Change.objects.about(order).get().note == "guard is still off"


# downtime and recurring tasks


def test_a_job_puts_the_stop_it_caused_on_record_once() -> None:
    order, user = a_job(state="under_way"), a_user("technician")
    at = clock.now() - timedelta(hours=5)
    stop = enter.cause_downtime(order, by=user, kind="planned", start_at=at, end_at=at + timedelta(hours=3))
    order.refresh_from_db()
    assert (order.caused_downtime, stop.kiln) == (stop, order.kiln)
    with pytest.raises(ValidationError, match="on record already"):
        enter.cause_downtime(order, by=user, kind="planned", start_at=at)


def test_a_stop_cannot_end_before_it_starts() -> None:
    order, at = a_job(state="under_way"), clock.now()
    with pytest.raises(ValidationError, match="end after it starts"):
        enter.cause_downtime(order, by=a_user("technician"), kind="planned", start_at=at, end_at=at)


def test_a_job_ends_the_open_stop_of_its_kiln() -> None:
    order, user = a_job(state="under_way"), a_user("technician")
    stop = Downtime.objects.create(kiln=order.kiln, kind="unplanned", start_at=clock.now() - timedelta(hours=9))
    enter.cure_downtime(order, stop, by=user)
    stop.refresh_from_db()
    order.refresh_from_db()
    assert stop.end_at
    assert order.cured_downtime == stop


def test_a_recurring_task_counts_on_from_the_day_its_work_is_done() -> None:
    order, user = a_job(), a_user("technician")
    task = StandingTask.objects.create(
        code="grease-k1",
        sheet=TaskSheetFactory(),
        kiln=order.kiln,
        anchor_on=date(2026, 1, 1),
        every=4,
        every_unit="week",
        reset_inside="completion",
    )
    order.standing_task, order.occurrence_on = task, date(2026, 3, 1)
    order.save()
    order = started(order, user)
    act.finish(order, by=user, version=order.version)
    task.refresh_from_db()
    assert task.last_done_on == clock.today(order.kiln.mill.zone)
    assert task.next_due_on == task.last_done_on + timedelta(weeks=4)  # type: ignore[operator]


def test_a_job_without_sheet_shows_only_the_cautions_of_its_place() -> None:
    general, lock_out, other = (
        Caution.objects.create(code=code, title=code, text="-", before_start="-")
        for code in ("general", "lock-out", "steam")
    )
    order = a_job(sheet=None, needs_state="empty", hours=Decimal(1))
    assert list(Caution.objects.for_work_order(order)) == [general, lock_out]
    order.sheet = TaskSheetFactory()
    order.sheet.cautions.add(other)
    assert list(Caution.objects.for_work_order(order)) == [general, lock_out, other]
