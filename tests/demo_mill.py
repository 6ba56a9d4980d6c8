"""The demo mill in the middle of everything, and the addresses of all its pages: for tests that walk them."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from inventory.models import Part, PurchaseOrder
from maintenance.checks.checks import start_sitting
from maintenance.day.run import run_day
from maintenance.demo.setting_up import set_up
from maintenance.door.alarms import raise_alarm
from maintenance.entry.permits import open_permit
from maintenance.loading.bringing import as_json
from maintenance.loading.faults import Counts, Fault, Report, RowChange
from maintenance.models import (
    Assignment,
    ChangedDate,
    CheckPoint,
    Defect,
    EntryAlarm,
    EntryMove,
    EntryPermit,
    FilesBrought,
    Finding,
    Firing,
    FunctionCheck,
    KilnStop,
    LetIn,
    Placement,
    Plan,
    ProofTest,
    StandingTask,
    TaskSheet,
    WorkOrder,
)
from maintenance.models import Watch as KilnWatch
from maintenance.plans.accepting import want_plan
from maintenance.recurring.coming import coming_dates
from maintenance.sheets.content import content_of
from maintenance.sheets.keeping import change, make, supersede
from maintenance.watches.settings import copy_watch, set_up_watches
from maintenance.watches.trials import TRY_TASK, run_trial, want_trial
from maintenance.work.course import start
from plant import clock
from plant.access import Role
from plant.basics.sentences import Sentence, typed
from plant.models import (
    Absence,
    Channel,
    Charge,
    ChargeWord,
    DayOff,
    Downtime,
    FileIntake,
    Fitting,
    Job,
    Kiln,
    Person,
    Reading,
    ReadingSource,
    RoleHeld,
    Shift,
    User,
)
from plant.readings.files.calculations.faults import FileFault
from plant.readings.mqtt.messages import Message, Refused, keep_refused
from plant.readings.source_tokens import make_token, revoke_token
from tests.factories import ChannelFactory
from tests.maintenance.mill import answers
from tests.maintenance.plans_made import made_plan
from tests.test_access_walk import ADDRESSES, url_of

DAY = date(2026, 11, 25)
# Half past eight at the mill: what is due, placed and late does not hang on the hour of the test.
MORNING = datetime(2026, 11, 25, 7, 30, tzinfo=UTC)


def set_up_demo(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Load the demo mill with a short past, and stand it in the middle of a round and of a job inside a kiln."""
    settings.KILNWARD_TODAY = DAY.isoformat()
    monkeypatch.setattr("plant.clock.now", lambda: MORNING)
    set_up(DAY, months=2)
    run_day(DAY)
    administrator = somebody(Role.ADMINISTRATOR)
    check = FunctionCheck.objects.under_way().get()
    check.sittings.update(ended_at=clock.now())
    start_sitting(check, "running", by=administrator, is_cautions_read=True, note="trial run")
    order = first(WorkOrder.objects.filter(state="placed", needs_state="empty").exclude(kiln=check.kiln))
    people = [one.person for one in order.assignments.all()]
    # Nobody who does the work stays outside.
    outside = first(Person.objects.working_here().exclude(pk__in=[one.pk for one in people]).exclude(code="oda"))
    open_permit(order.kiln, answers(watch_outside=outside), by=administrator, key=uuid4(), work_order=order)
    start(order, by=administrator, version=order.version, is_cautions_read=True, people=people, is_own_lock_on=True)
    raise_alarm(order.kiln, EntryAlarm.Source.READINGS, (Sentence.of("alarm.able_to_run", kind="planned stop"),))
    Job.objects.create(key="a-job", what="nothing", wanted_at=clock.now(), not_before_at=clock.now())
    ways_in(administrator)
    heard(Downtime.objects.still_open().get().kiln)
    planned(administrator)
    inside = first(Charge.objects.filter(basis=Charge.Basis.RUNNING))
    told = {"what": "expected", "at": inside.end_at, "why": "boards still at 14 %", "before": {}, "after": {}}
    ChargeWord.objects.create(key=uuid4(), charge=inside, told_at=clock.now(), by=administrator, **told)
    locked_out()


def locked_out() -> None:
    """Have somebody lock a kiln out for a job that lies ahead."""
    ahead = Placement.objects.filter(start_at__gt=clock.now(), work_order__needs_state="empty")
    place = first(ahead.select_related("work_order__kiln").order_by("start_at"))
    kiln, person = place.work_order.kiln, somebody(Role.TECHNICIAN).person
    span = {"lock_out_at": place.start_at - timedelta(hours=1), "ready_at": place.end_at + timedelta(hours=1)}
    KilnStop.objects.filter(kiln=kiln).delete()
    KilnStop.objects.create(kiln=kiln, person=person, after_charge=place.after_charge, **span)


def a_day_off() -> DayOff:
    return DayOff.objects.get_or_create(on=DAY + timedelta(days=30), defaults={"name": "Mill feast"})[0]


def planned(user: User) -> None:
    """Have a plan that was worked out, and one with something supposed that is under way."""
    made_plan(user, name="for Monday")
    span = {
        "from": (clock.now() + timedelta(days=1)).isoformat(),
        "until": (clock.now() + timedelta(days=2)).isoformat(),
    }
    away = {"kind": "away", "person": first(Absence.objects).person_id, **span}
    under_way = want_plan(name="What if somebody is ill", suppositions=[away], by=user)
    steps = [[1.0, 900_000, 0], [3.5, 700_000, 500_000], [8.0, 640_000, 620_000]]
    Plan.objects.filter(pk=under_way.pk).update(
        state="under_way", progress=steps, cost_cents=640_000, bound_cents=620_000
    )


def ways_in(administrator: User) -> None:
    """Set up a source that sends, with tokens, and one that listens and could not read a message."""
    sending = ReadingSource.objects.create(code="a-sender", name="A sender", way="sends")
    revoke_token(make_token(sending, by=administrator)[0], by=administrator)
    make_token(sending, by=administrator)
    whole = {"broker_host": "broker.fallow-bridge.example", "broker_topic": "kilns/#", "broker_user": "kilnward"}
    logger = ReadingSource.objects.create(code="a-logger", name="A logger", way="files")
    fault = FileFault(Sentence.of("number.none"), Sentence.of("mend.cell_or_silent"), 3, "T", "warm").told()
    logger.intakes.create(
        file_name="kiln-1.csv", digest="0" * 64, at=clock.now(), is_taken_in=False, faults=[fault] * 12
    )
    listening = ReadingSource.objects.create(code="a-listener", name="A listener", way="broker", **whole)
    refused = Refused(Message(f"kilns/{'long-' * 20}", b"x", 0), (Sentence.of("message.other_kind", kind="null"),))
    keep_refused(listening, [refused])


def heard(kiln: Kiln) -> None:
    """Let a kiln's sensors say something for a day, some of it impossible, and a watch speak up."""
    places = (("air_temperature", "left"), ("air_temperature", "right"), ("wet_bulb", "left"), ("fan_direction", ""))
    channels = [ChannelFactory(kiln=kiln, quantity=quantity, place=place) for quantity, place in places]
    last_s = int(clock.now().timestamp())
    for number in range(144):
        is_off = number % 50 == 0
        facts = {"at_s": last_s - 600 * number, "value": 900 if is_off else 60 + number % 9, "marks": int(is_off)}
        Reading.objects.bulk_create(Reading(channel=channel, **facts) for channel in channels)
    set_up_watches(kiln, by=None)
    watch = first(KilnWatch.objects.filter(kiln=kiln))
    for hours in (3, 9):
        begin_at = clock.now() - timedelta(hours=hours)
        Firing.objects.create(watch=watch, begin_at=begin_at, noticed_at=begin_at, sentence=typed("The wick is dry."))
    own = copy_watch(watch, by=somebody(Role.ADMINISTRATOR), name="own numbers", parameters=watch.parameters)
    result = run_trial(own, 30, own.parameters)
    want_trial(own, 30, own.parameters, by=somebody(Role.ADMINISTRATOR), now=clock.now())
    Job.objects.filter(what=TRY_TASK).update(result=result, state="finished", finished_at=clock.now())


def files_brought(user: User) -> FilesBrought:
    """Have files that were looked at: one is sound and changes a kiln, one has a fault."""
    report = Report(files={"kilns": "kilns.csv", "charges": "programme.csv"}, counts={"kilns": Counts(1, 1, 6)})
    report.changes.append(RowChange("kilns", 3, "K2", {"restore_minutes": "30"}, {"restore_minutes": "45"}))
    report.faults.append(Fault("programme.csv", 4, "volume_m3", "many", "this is no number", "Write digits."))
    files = [{"name": name, "bytes": 900, "sha256": "0" * 64, "is_of_two": True} for name in report.files.values()]
    return FilesBrought.objects.create(
        key=uuid4(), sent_at=clock.now(), by=user, files=files, state="looked_at", report=as_json(report)
    )


def own_of(model: type[TaskSheet] | type[CheckPoint], name: str, value: str) -> TaskSheet | CheckPoint:
    """Copy one that ships for the mill, change the copy and then what was copied: all that a page can show."""
    shipped = first(model.objects.filter(blocks_entry=False) if model is CheckPoint else model.objects)
    content = content_of(shipped)
    own = make(model(), content, key=uuid4(), by=None, copied=shipped)
    change(own, {**content, name: value}, version=1, why="As we do it.", by=None)
    supersede(shipped, content, why="", by=None)
    shipped.source_status = "verified anew"
    shipped.save()
    return own


def skipped(task: StandingTask) -> ChangedDate:
    """Skip a date of a task after its next."""
    dates, _why = coming_dates(task, clock.now().date())
    return ChangedDate.objects.create(
        standing_task=task, due_on=dates[1].due_on, why="The crew is away.", at=clock.now()
    )


def somebody(role: str) -> User:
    """Return whom the demo gave a role."""
    return first(RoleHeld.objects.filter(role=role).select_related("user")).user


def first(objects: Any) -> Any:
    """Return the first; a demo without one would leave a page out."""
    found = objects.first()
    assert found, f"the demo has no such {objects.model.__name__}"
    return found


def things() -> dict[str, dict[str, Any]]:
    """What stands in the gaps of the addresses."""
    order, under_way = first(WorkOrder.objects.filter(state="placed")), WorkOrder.objects.get(state="under_way")
    check = FunctionCheck.objects.under_way().get()
    part = first(Part.objects.filter(terms__isnull=False))
    stop = Downtime.objects.still_open().get()
    channel = first(Channel.objects)
    sits = first(Fitting.objects.filter(removed_at__isnull=True).select_related("component__kiln"))
    opening = first(Placement.objects.filter(after_charge__isnull=False, start_at__gt=clock.now()))
    doubt = first(Finding.objects.filter(item__point__blocks_entry=True))
    words = {"act": "let_in", "why": "It opens at the first go.", "at": clock.now()}
    let_in = LetIn.objects.create(key=uuid4(), finding=doubt, **words)
    said = first(ChargeWord.objects)
    task = first(StandingTask.objects.in_use().filter(every_unit="month", next_due_on__gt=clock.now()))
    return {
        "charges/": {"tag": said.charge.kiln.tag, "pk": said.charge_id, "what": "unloaded", "word_pk": said.pk},
        "people/": {"code": first(Absence.objects).person.code, "pk": 1},
        "shifts/": {"code": first(Shift.objects).code},
        "shifts/days-off/": {"pk": a_day_off().pk},
        "sign-ins/": {"pk": somebody(Role.PLANNER).pk},
        "kilns/": {"tag": stop.kiln.tag, "pk": stop.pk},
        "kilns/<slug:tag>/components/": {
            "tag": sits.component.kiln.tag,
            "component": sits.component.tag,
            "pk": sits.pk,
        },
        "kilns/<slug:tag>/channels/": {"tag": channel.kiln.tag, "pk": channel.pk},
        "background/": {"pk": first(Job.objects).pk},
        "readings/sources/": {"code": "a-logger", "token": "0" * 32, "pk": first(FileIntake.objects).pk},
        "readings/sources/<slug:code>/tokens/": {"code": "a-sender", "pk": 1},
        "stores/parts/": {"code": part.code, "supplier": first(part.terms).supplier.code},
        "stores/parts/<slug:code>/moves/": {"code": part.code, "pk": first(part.moves).pk},
        "stores/orders/": {"number": first(PurchaseOrder.objects.filter(state="sent")).number},
        "rounds/checks/": {"number": check.number, "pk": first(check.items.filter(point__seen_in="running")).pk},
        "rounds/defects/": {"pk": first(Defect.objects.not_cured()).pk},
        "rounds/proof-tests/": {"pk": first(ProofTest.objects).component_id},
        "alarms/": {"pk": first(EntryAlarm.objects).pk},
        "rounds/findings/": {"pk": doubt.pk},
        "rounds/let-ins/": {"pk": let_in.pk},
        "rounds/permits/": {"pk": first(EntryPermit.objects.still_open()).pk, "move": first(EntryMove.objects).pk},
        "rounds/recurring-tasks/": {"code": task.code, "on": str(task.next_due_on), "pk": skipped(task).pk},
        "rounds/task-sheets/": {"code": own_of(TaskSheet, "hours", "2.5").code, "no": 1},
        "rounds/check-points/": {"code": own_of(CheckPoint, "criterion", "Nothing moves.").code, "no": 1},
        "openings/": {"tag": opening.work_order.kiln.tag, "key": f"after-{opening.after_charge_id}"},
        "openings/work-orders/": {"number": order.number},
        "openings/plans/": {"pk": Plan.objects.get(state="worked_out").pk, "number": order.number},
        "openings/jobs/": {"number": order.number},
        "calendar/": {"token": "0" * 43},
        "files/": {"key": files_brought(somebody(Role.PLANNER)).key, "table": "kilns", "form": "csv"},
        "watches/": {"pk": first(KilnWatch.objects.filter(firings__isnull=False)).pk},
        "watches/firings/": {"pk": first(Firing.objects).pk},
        "work-orders/": {"number": order.number, "no": 1},
        "work-orders/<slug:number>/permit": {"number": under_way.number},
        "work-orders/<slug:number>/finish": {"number": under_way.number},
        "work-orders/<slug:number>/send-back": {"number": first(WorkOrder.objects.filter(state="done")).number},
    }


def addresses() -> list[str]:
    """Every address of the program."""
    known = things()
    return [url_of(address, known) for address in ADDRESSES]


def other_states() -> list[str]:
    """The addresses of pages that look different in another state."""
    running = FunctionCheck.objects.under_way().get().get_absolute_url()
    found = [f"{running}sit/?kiln_state={state}" for state in ("running", "open_empty")]
    found += [first(FunctionCheck.objects.filter(completed_at__isnull=False)).get_absolute_url()]
    states = ("under_way", "done", "signed_off")
    found += [first(WorkOrder.objects.filter(state=state)).get_absolute_url() for state in states]
    found += [first(PurchaseOrder.objects.filter(state=state)).get_absolute_url() for state in ("drawn_up", "arrived")]
    found += [f"/readings/new-source/?way={way}" for way in ReadingSource.Way.values]
    found += ["/readings/sources/a-sender/", "/readings/sources/a-listener/"]
    tag = first(Firing.objects).watch.kiln.tag
    own = KilnWatch.objects.get(is_shipped=False)
    day = f"/kilns/{tag}/climate/?from=2026-11-24T09:00&until=2026-11-25T08:00"
    found += [day, f"{day}&table=1&t=f&humidity=rh", f"/watches/?kiln={tag}", f"{own.get_absolute_url()}edit/"]
    found += [f"{own.get_absolute_url()}trial/?job={Job.objects.get(what=TRY_TASK).pk}"]
    given = first(Assignment.objects.filter(work_order__placement__start_at__gt=clock.now()))
    on = given.work_order.placement.start_at.date()
    found += [f"/my-work/{way}?person={given.person.code}" for way in ("", "week/", "calendar/")]
    found += [f"/my-work/?person={given.person.code}&day={on}", f"/my-work/week/?person={given.person.code}&week={on}"]
    stop = first(KilnStop.objects.with_jobs().order_by("-pk"))
    whose, on = f"person={stop.person.code}", stop.lock_out_at.date()
    found += [f"/my-work/?{whose}&day={on}", f"/my-work/week/?{whose}&week={on}"]
    found += [
        first(WorkOrder.objects.filter(kiln=stop.kiln, placement__start_at__gte=stop.lock_out_at)).get_absolute_url()
    ]
    found += [first(WorkOrder.objects.filter(check_up__isnull=False)).get_absolute_url()]
    under_way = Plan.objects.get(state="under_way")
    found += [under_way.get_absolute_url(), f"/openings/plans/new/?again={under_way.pk}"]
    plan = first(Plan.objects.filter(state="worked_out"))
    found += [f"/openings/{query}" for query in ("?days=3", "?days=14&q=seal", "?weeks=8", "?days=91")]
    found += [f"/openings/?days=7&plan={plan.pk}", f"/openings/compare/?days=14&left=now&right={plan.pk}"]
    return [*found, "/availability/?period=2026-11", "/stores/?q=nothing-of-this-name"]
