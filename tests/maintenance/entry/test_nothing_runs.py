"""While somebody is inside, or a kiln is open for entry, nothing makes it run: every way in, with every reason.

What only reports that a kiln runs is kept, and told.
"""

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.apps import apps
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.test import Client
from django.utils import timezone

from maintenance.checks import checks
from maintenance.entry import door
from maintenance.entry.now import entry_of
from maintenance.entry.permits import open_permit_of
from maintenance.loading.loader import load_folder
from maintenance.models import Caution, EntryPermit, FunctionCheck, Sitting, WorkOrder
from maintenance.work import course as act
from maintenance.work.records import cure_downtime
from plant import clock
from plant.charges.heard import HeardCharge, ToldThere, hear
from plant.downtime.forms import DowntimeForm
from plant.downtime.keeping import FIELDS as KEPT
from plant.downtime.keeping import DowntimeFacts, correct_downtime, end_downtime
from plant.frame.particulars import digest
from plant.kilns.stopping import take_back_stop
from plant.models import Charge, Downtime, Kiln, User
from plant.readings.api.app import api
from plant.signals import runs_against_bar
from tests.factories import (
    ChargeFactory,
    CheckPointFactory,
    ComponentFactory,
    DefectFactory,
    TaskSheetFactory,
    WorkOrderFactory,
)
from tests.maintenance.loading.loading_mill import CHARGES, write_files
from tests.maintenance.mill import a_person, a_user, opened, shut, signed_in

pytestmark = pytest.mark.django_db


@dataclass
class Scene:
    """A kiln that is stopped, with a job of each sort, as a kiln master meets it."""

    kiln: Kiln
    master: User
    client: Client
    stop: Downtime
    running: WorkOrder
    hot: WorkOrder
    paused: WorkOrder
    inside: WorkOrder
    done: WorkOrder
    check: FunctionCheck
    folder: Path

    def page(self, path: str, said: dict[str, Any]) -> str:
        """Post a form and read the answer."""
        return self.client.post(path, said, follow=True).content.decode()


@pytest.fixture
def scene(client: Client, tmp_path: Path) -> Scene:
    master = a_user("kiln_master", "ilse")
    fan = ComponentFactory()
    kiln = fan.kiln
    CheckPointFactory()
    CheckPointFactory(code="fans-run", what="All fans run", seen_in="running")
    now = clock.now().replace(second=0, microsecond=0)
    hot = TaskSheetFactory(code="tightness", needs_state="any")
    hot.cautions.add(Caution.objects.get_or_create(code="hot-chamber-shut", defaults={"title": "Hot and shut"})[0])
    start_at = now - timedelta(hours=5)
    stop = Downtime.objects.create(kiln=kiln, kind="unplanned", start_at=start_at, cause="fan 3")
    return Scene(
        kiln=kiln,
        master=master,
        client=signed_in(client, master),
        stop=Downtime.objects.get(pk=stop.pk),
        running=WorkOrderFactory(kiln=kiln, needs_state="running"),
        hot=WorkOrderFactory(kiln=kiln, needs_state="any", sheet=hot),
        paused=WorkOrderFactory(kiln=kiln, needs_state="running", state="under_way", paused_at=now),
        inside=WorkOrderFactory(kiln=kiln, needs_state="empty", state="under_way", paused_at=now),
        done=WorkOrderFactory(kiln=kiln, needs_state="still", state="done", done_at=now),
        check=checks.start_check(kiln, by=master),
        folder=tmp_path,
    )


# What is inside


def open_and_empty(scene: Scene) -> None:
    opened(scene.kiln, scene.master)


def somebody_in(scene: Scene) -> None:
    permit = opened(scene.kiln, scene.master)
    door.go_in(permit, a_person("una"), by=scene.master, key=uuid4(), is_own_lock_on=True)


def lock_left_on(scene: Scene) -> None:
    somebody_in(scene)
    permit = open_permit_of(scene.kiln)
    assert permit
    door.come_out(permit, a_person("una"), by=scene.master, key=uuid4(), is_lock_off=False)


def sitting_inside(scene: Scene) -> None:
    opened(scene.kiln, scene.master)
    said = {"is_cautions_read": True, "is_own_lock_on": True, "note": "stopped since noon"}
    checks.start_sitting(scene.check, "open_empty", by=scene.master, **said)  # type: ignore[arg-type]


def sitting_with_nobody_in(scene: Scene) -> None:
    sitting_inside(scene)
    permit = open_permit_of(scene.kiln)
    assert permit and scene.master.person
    door.come_out(permit, scene.master.person, by=scene.master, key=uuid4())


def job_inside(scene: Scene) -> None:
    opened(scene.kiln, scene.master)
    order = WorkOrderFactory(kiln=scene.kiln, needs_state="empty")
    said = {"is_cautions_read": True, "is_own_lock_on": True, "people": [a_person("una")]}
    act.start(order, by=scene.master, version=0, **said)  # type: ignore[arg-type]


def job_at_the_machinery(scene: Scene) -> None:
    """From outside: the chamber is barred, and no permit is possible."""
    defect = DefectFactory(kiln=scene.kiln, blocks_entry=True)
    order = WorkOrderFactory(kiln=scene.kiln, needs_state="still", defect=defect)
    said = {"is_cautions_read": True, "locked_out_outside_by": scene.master.person}
    act.start(order, by=scene.master, version=0, **said)  # type: ignore[arg-type]


INSIDE = [
    open_and_empty,
    somebody_in,
    lock_left_on,
    sitting_inside,
    sitting_with_nobody_in,
    job_inside,
    job_at_the_machinery,
]


# What would make the kiln run


def start_of(order: WorkOrder, scene: Scene) -> None:
    team = [scene.master.person]
    act.start(order, by=scene.master, version=order.version, is_cautions_read=True, people=team)  # type: ignore[arg-type]


def start_page(order: WorkOrder, scene: Scene) -> str:
    said = {"version": order.version, "is_cautions_read": "on", "people": [scene.master.person.pk]}  # type: ignore[union-attr]
    return scene.page(f"/work-orders/{order.number}/start/", said)


def facts(scene: Scene, **changes: Any) -> DowntimeFacts:
    return DowntimeFacts(**{"kind": scene.stop.kind, "start_at": scene.stop.start_at, "cause": "fan 3", **changes})


def correct(scene: Scene, **changes: Any) -> None:
    seen = digest(scene.stop, KEPT)
    correct_downtime(scene.stop, facts(scene, **changes), seen=seen, why="typed wrongly", by=scene.master)


def correct_page(scene: Scene, **changes: Any) -> str:
    form = DowntimeForm(kiln=scene.kiln, record=scene.stop)
    shown = {name: form[name].value() for name in form.fields}
    shown |= {"start_at": minute(scene.stop.start_at), "share_lost_pct": "100"}
    said = {**{name: value for name, value in shown.items() if value not in (None, "")}, "why": "wrong", **changes}
    return scene.page(f"/kilns/{scene.kiln.tag}/downtime/{scene.stop.pk}/", said)


def loaded(scene: Scene, **files: str) -> str:
    report = load_folder(write_files(scene.folder / uuid4().hex, files))
    return " ".join(str(fault) for fault in report.faults)


def ago(minutes: int) -> datetime:
    return clock.now().replace(second=0, microsecond=0) - timedelta(minutes=minutes)


def said_in_file(scene: Scene, at: datetime) -> str:
    return f"{at.astimezone(scene.kiln.mill.zone):%Y-%m-%d %H:%M}"


def a_charge(scene: Scene, basis: str, begin_at: datetime) -> str:
    span = [said_in_file(scene, at) for at in (begin_at, begin_at + timedelta(days=4))]
    return f"{CHARGES}{scene.kiln.tag},C9,spruce,50,55,{basis},{','.join(span)}\n"


def end_by_file(scene: Scene) -> str:
    row = f"{scene.kiln.tag},unplanned,{said_in_file(scene, scene.stop.start_at)},{said_in_file(scene, ago(5))}"
    return loaded(scene, downtime=f"kiln,kind,start_at,end_at\n{row}\n")


def slow_by_file(scene: Scene) -> str:
    row = f"{scene.kiln.tag},unplanned,{said_in_file(scene, scene.stop.start_at)},0.5"
    return loaded(scene, downtime=f"kiln,kind,start_at,share_lost\n{row}\n")


def begin_by_file(scene: Scene) -> str:
    return loaded(scene, charges=a_charge(scene, "running", ago(-30)))


def sit_running(scene: Scene) -> None:
    checks.start_sitting(scene.check, "running", by=scene.master, is_cautions_read=True, note="trial run")


def sit_running_page(scene: Scene) -> str:
    said = {"kiln_state": "running", "is_cautions_read": "on", "note": "trial run"}
    return scene.page(f"{scene.check.get_absolute_url()}sit/", said)


def minute(at: datetime) -> str:
    return timezone.localtime(at).strftime("%Y-%m-%dT%H:%M")


ACTS: dict[str, Callable[[Scene], Any]] = {
    "a running job starts": lambda s: start_of(s.running, s),
    "a running job starts by its page": lambda s: start_page(s.running, s),
    "a test with the chamber hot and shut starts": lambda s: start_of(s.hot, s),
    "a paused running job is carried on": lambda s: start_of(s.paused, s),
    "a paused running job is carried on by its page": lambda s: start_page(s.paused, s),
    "a running sitting starts": sit_running,
    "a running sitting starts by its page": sit_running_page,
    "a stop ends": lambda s: end_downtime(s.stop, ago(1), by=s.master),
    "a stop ends by its page": lambda s: s.page(
        f"/kilns/{s.kiln.tag}/downtime/{s.stop.pk}/end/", {"end_at": minute(ago(1))}
    ),
    "a stop's end is put in by a correction": lambda s: correct(s, end_at=ago(1)),
    "a stop is given an end ahead": lambda s: correct(s, end_at=ago(-600)),
    "a stop is made to begin later": lambda s: correct(s, kind="planned", start_at=ago(-60)),
    "a stop is made a slowing": lambda s: correct(s, share_lost="0.5"),
    "a stop is made a lack of timber": lambda s: correct(s, kind="no_timber"),
    "a stop's end is put in by the page of its correction": lambda s: correct_page(s, end_at=minute(ago(1))),
    "a stop is taken back": lambda s: take_back_stop(s.stop, why="it was another kiln", by=s.master),
    "a stop is taken back by its page": lambda s: s.page(
        f"/kilns/{s.kiln.tag}/downtime/{s.stop.pk}/back/", {"why": "it was another kiln"}
    ),
    "a job ends the stop": lambda s: cure_downtime(s.done, s.stop, by=s.master),
    "a job ends the stop by its page": lambda s: s.page(
        f"/work-orders/{s.done.number}/stop-ended/", {"downtime": s.stop.pk, "end_at": ""}
    ),
    "a job inside is finished": lambda s: act.finish(s.inside, by=s.master, version=s.inside.version),
    "a job inside is finished by its page": lambda s: s.page(
        f"/work-orders/{s.inside.number}/finish/", {"version": s.inside.version, "result": "done"}
    ),
    "a job is signed off": lambda s: act.sign_off(s.done, by=s.master, version=s.done.version),
    "a job is signed off by its page": lambda s: s.page(
        f"/work-orders/{s.done.number}/sign-off/", {"version": s.done.version}
    ),
    "a stop ends by a file": end_by_file,
    "a stop becomes a slowing by a file": slow_by_file,
    "a charge is to begin by a file": begin_by_file,
}


def record() -> dict[str, list[Any]]:
    """All that says whether kilns run, row by row."""
    kept: tuple[type[models.Model], ...] = (Downtime, Charge, WorkOrder, Sitting, EntryPermit)
    return {model.__name__: list(model._default_manager.order_by("pk").values()) for model in kept}


@pytest.mark.parametrize("inside", INSIDE, ids=lambda one: one.__name__)
def test_whatever_is_inside_nothing_makes_the_kiln_run(scene: Scene, inside: Callable[[Scene], None]) -> None:
    inside(scene)
    before = record()
    for name, run in ACTS.items():
        try:
            said = run(scene)
        except ValidationError as refusal:
            said = " ".join(refusal.messages)
        assert record() == before, f"{name}: something was changed"
        assert isinstance(said, str), f"{name}: it was not refused"
        assert "close the chamber for entry" in said.lower() or "nobody is in or at the kiln" in said, f"{name}: {said}"


def test_each_of_them_is_possible_when_the_chamber_is_closed_again(scene: Scene, client: Client) -> None:
    """The walk above can fail: with nobody inside each act goes through."""
    job_inside(scene)
    shut(scene.kiln, scene.master)
    for name, run in ACTS.items():
        before = record()
        with transaction.atomic():
            said = run(scene)
            assert record() != before, f"{name}: {said}"
            transaction.set_rollback(True)
        assert record() == before


def test_the_refusal_says_who_is_inside_and_what_to_do(scene: Scene) -> None:
    somebody_in(scene)
    with pytest.raises(ValidationError) as refusal:
        end_downtime(scene.stop, ago(1), by=scene.master)
    said = refusal.value.messages[0]
    assert said.startswith("Inside K1: Una. Per stays outside. Bring everybody out")


def test_a_stop_may_be_lengthened_and_explained_while_somebody_is_inside(scene: Scene) -> None:
    somebody_in(scene)
    correct(scene, cause="fan 3, bearing")
    scene.stop.refresh_from_db()
    assert (scene.stop.cause, scene.stop.end_at) == ("fan 3, bearing", None)


# What is a report


def test_a_charge_that_has_begun_is_kept_and_told(scene: Scene) -> None:
    somebody_in(scene)
    heard: list[dict[str, Any]] = []

    def hear(sender: Any, **told: Any) -> None:
        heard.append(told)

    runs_against_bar.connect(hear)
    try:
        row = a_charge(scene, "running", ago(30))
        assert (loaded(scene, charges=row), loaded(scene, charges=row)) == ("", "")
    finally:
        runs_against_bar.disconnect(hear)
    assert Charge.objects.get().basis == "running"
    assert [(one["kiln"], one["kind"], one["facts"]["charge"]) for one in heard] == [(scene.kiln, "charge begun", "C9")]
    assert entry_of(scene.kiln)


def test_a_charge_that_is_planned_is_loaded_whoever_is_inside(scene: Scene) -> None:
    somebody_in(scene)
    assert loaded(scene, charges=a_charge(scene, "planned", ago(-30))) == ""
    assert Charge.objects.get().basis == "planned"


@pytest.mark.parametrize("inside", INSIDE, ids=lambda one: one.__name__)
def test_whatever_is_inside_no_other_program_starts_the_kiln_and_the_alarm_is_raised(
    scene: Scene, inside: Callable[[Scene], None]
) -> None:
    inside(scene)
    ChargeFactory(kiln=scene.kiln, number="C9", basis="planned", begin_at=ago(-30))
    before, heard = record(), []

    def told_of(sender: Any, **told: Any) -> None:
        heard.append(told["kind"])

    runs_against_bar.connect(told_of)
    try:
        hear([HeardCharge(scene.kiln.tag, "C9", {}, told=(ToldThere("started", ago(1)),))], "yard book")
    finally:
        runs_against_bar.disconnect(told_of)
    assert record() == before
    assert heard == ["charge begun"]


# No way in is forgotten

WRITES = {"create", "bulk_create", "update", "bulk_update", "get_or_create", "update_or_create", "delete"}
MODELS = {"Charge", "Downtime", "Sitting", "Phase"}
FIELDS = {"basis", "end_at", "ended_at", "started_at", "paused_at", "state"}

# Who writes what says whether a kiln runs. An act asks ``refuse_running`` or its like, and stands in ACTS above; what
# does not make it run says why.
KNOWN = {
    "plant.charges.planning._keep": "a plan; what is to begin soon is refused: tests/plant/charges/test_planning.py",
    "plant.charges.planning._phase": "called by _keep",
    "plant.charges.planning_page.plan": "in memory",
    "plant.charges.heard._plan": "in memory, kept by planning.keep",
    "plant.charges.heard.plan_anew": "in memory, kept by planning.keep",
    "plant.charges.programme.write": "called by acts: tests/maintenance/entry/test_charges_told.py",
    "plant.downtime.keeping.report_downtime": "a stop more",
    "plant.downtime.keeping.correct_downtime": "act",
    "plant.downtime.keeping.end_downtime": "act",
    "maintenance.work.course.start": "act",
    "maintenance.work.course.pause_locked": "fewer at work",
    "maintenance.orders.moving.move": "called by acts",
    "maintenance.orders.moving.give_up": "fewer at work",
    "maintenance.checks.check_sittings.withdraw_sittings": "fewer at work",
    "maintenance.work.course.finish": "act",
    "maintenance.work.course.sign_off": "act",
    "maintenance.work.course.send_back": "the work is paused until it is carried on",
    "maintenance.work.course.withdraw": "fewer at work",
    "maintenance.work.records.cause_downtime": "a stop more",
    "maintenance.work.records.cure_downtime": "act",
    "maintenance.checks.checks.start_sitting": "act",
    "maintenance.checks.checks.end_sitting": "fewer at work",
    "maintenance.checks.checks.withdraw_check": "fewer at work",
    "maintenance.door.closing._end_work": "fewer at work",
    "maintenance.loading.charge_tables.ChargeTable.update": "act, with ChargeTable.check before it",
    "maintenance.loading.charge_tables.ChargeTable.after": "phases of charges that were let in by ChargeTable.check",
    "maintenance.loading.check_tables.CheckFindingTable._sittings": "sittings that are over",
    "maintenance.plans.places.keep_place": "a place, not a start",
    "maintenance.plans.places.take_place_away": "a place, not a start",
    "maintenance.orders.raising.update_readiness": "before the start",
    "maintenance.plans.accepting._decide": "the state of a plan",
    "maintenance.plans.taking_back.take_back_plan": "the state of a plan; shifting.put_back refuses beginnings",
    "maintenance.telling.places_told._compare": "what people were told",
    "maintenance.watches.firing._go_on": "the end of a firing",
    "maintenance.plans.plan_words.PlanWords.__init__": "in memory",
}


def writers() -> Iterator[str]:
    """Every function outside the demo that writes a charge, a stop, a sitting, or the state of a job."""
    for app in ("plant", "inventory", "maintenance"):
        for path in sorted((settings.BASE_DIR / app).rglob("*.py")):
            parts = path.relative_to(settings.BASE_DIR).with_suffix("").parts
            if {"migrations", "demo", "calculations", "placing", "losses", "physics"} & set(parts):
                continue
            tree = ast.parse(path.read_text(encoding="utf-8"))
            imported = {
                name.name
                for node in ast.walk(tree)
                if isinstance(node, ast.ImportFrom) and (node.module or "").endswith(".models")
                for name in node.names
            }
            if imported & (MODELS | {"WorkOrder"}):
                yield from (f"{'.'.join(parts)}.{name}" for name in _writing(tree, imported))


def _writing(tree: ast.AST, imported: set[str], prefix: str = "") -> Iterator[str]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.ClassDef):
            yield from _writing(node, imported, f"{prefix}{node.name}.")
        elif isinstance(node, ast.FunctionDef) and any(_is_write(one, imported) for one in ast.walk(node)):
            yield f"{prefix}{node.name}"


def _is_write(node: ast.AST, imported: set[str]) -> bool:
    if isinstance(node, ast.Assign | ast.AugAssign):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        names = [one for target in targets for one in (target.elts if isinstance(target, ast.Tuple) else [target])]
        return any(isinstance(one, ast.Attribute) and one.attr in FIELDS for one in names)
    if not isinstance(node, ast.Call):
        return False
    if isinstance(node.func, ast.Name):
        return node.func.id in (MODELS & imported) | {"save_changed", "_move", "move", "give_up"}
    if not isinstance(node.func, ast.Attribute) or node.func.attr not in WRITES:
        return False
    roots = {one.id for one in ast.walk(node.func) if isinstance(one, ast.Name)}
    related = {one.attr for one in ast.walk(node.func) if isinstance(one, ast.Attribute)}
    return bool(roots & MODELS & imported) or bool(related & {"sittings", "charges", "downtimes"})


def test_every_writer_of_what_says_whether_a_kiln_runs_is_known() -> None:
    found = set(writers())
    new = found - set(KNOWN)
    assert not new, f"say of each whether it lets a kiln run, and walk it above if it does: {sorted(new)}"
    assert set(KNOWN) <= found, f"gone: {sorted(set(KNOWN) - found)}"


def test_the_endpoint_takes_readings_and_what_is_walked_above_alone() -> None:
    written = {
        path
        for _, router in api._routers
        for path, view in router.path_operations.items()
        if any(set(operation.methods) - {"GET"} for operation in view.operations)
    }
    assert written == {"readings", "charges"}


def test_every_model_that_may_make_a_kiln_run_is_walked() -> None:
    names = {model.__name__ for model in apps.get_models() if model._meta.app_label in ("plant", "maintenance")}
    assert names >= MODELS
