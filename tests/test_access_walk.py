"""Every address, asked for by everybody: what each role may do is the table in config/access.csv, and nothing else."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.apps import apps
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from inventory.actions import receive
from inventory.models import PurchaseOrder
from maintenance.models import (
    ChangedDate,
    CheckItem,
    EntryAlarm,
    EntryMove,
    EntryPermit,
    FilesBrought,
    Finding,
    Firing,
    FunctionCheck,
    LetIn,
    Placement,
    Plan,
    Sitting,
    StandingTask,
    Watch,
)
from plant import clock
from plant.access import Role, access_table
from plant.basics.sentences import typed
from plant.models import (
    Absence,
    ChargeClaim,
    ChargeWord,
    ClimateSign,
    DayOff,
    Fitting,
    Job,
    Qualification,
    ReadingSource,
    Shift,
    ShiftDuty,
    User,
)
from plant.readings.source_tokens import make_token
from tests.factories import (
    ChannelFactory,
    ChargeFactory,
    CheckPointFactory,
    ComponentFactory,
    DefectFactory,
    DowntimeFactory,
    KilnFactory,
    MillFactory,
    PersonFactory,
    ReadingSourceFactory,
    SkillFactory,
    SupplierTermsFactory,
    TaskSheetFactory,
    UserFactory,
    WorkOrderFactory,
    WorkStepFactory,
)

BACKEND = "django.contrib.auth.backends.ModelBackend"
# Other systems come with a token and no sign-in; tests/plant/readings/test_api_tokens.py tests who gets in with which.
BY_TOKEN = {"api:readings", "api:channels", "api:charges"}
# Whoever has the address sees it; who has it is tested in tests/maintenance/telling/test_calendar_feed.py.
BY_SECRET_ADDRESS = {"maintenance:calendar-feed"}
# What says how they do it, and what says that nothing is there.
OPEN_OF_THE_API = {"api:openapi-json", "api:api-root", "api:nothing"}
# Open to everybody: to sign in, to sign out again, and to ask whether the server is up.
FOR_ALL = {"sign-in", "sign-out", "alive", "icon", *OPEN_OF_THE_API}
# What an auditor may send although it changes something: only the own password.
AUDITOR_MAY_SEND = {"plant:own-password"}
# Rows that merely looking may add.
TRACES = {
    "sessions.Session",
    "axes.AccessAttempt",
    "axes.AccessLog",
    "axes.AccessFailureLog",
    "axes.AccessAttemptExpiration",
}


@dataclass(frozen=True)
class Address:
    """An address of the program, the name of its view and the act it needs."""

    name: str
    route: str
    act: str | None
    converters: tuple[str, ...]


def addresses() -> list[Address]:
    """List every address that the program answers."""

    def walk(patterns: list[Any], space: str, before: str) -> Iterator[Address]:
        for pattern in patterns:
            route = before + str(pattern.pattern)
            if isinstance(pattern, URLResolver):
                inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
                yield from walk(pattern.url_patterns, inner, route)
            elif isinstance(pattern, URLPattern):
                act = getattr(pattern.callback, "needs_act", None)
                yield Address(space + (pattern.name or ""), route, act, tuple(pattern.pattern.converters))

    return list(walk(get_resolver().url_patterns, "", ""))


ADDRESSES = addresses()


@pytest.fixture
def things(db: None) -> dict[str, dict[str, Any]]:
    """One of everything; beginning of the route -> what stands in its gaps. The longest beginning counts."""
    now = clock.now()
    kiln = KilnFactory(mill=MillFactory())
    done = ChargeFactory(kiln=kiln, begin_at=now - timedelta(days=6), days=5, basis="done")
    fan = ComponentFactory(kiln=kiln)
    fitted = Fitting.objects.create(component=fan, fitted_at=now - timedelta(days=30))
    per, watcher = PersonFactory(code="per"), PersonFactory(code="tove")
    held = Qualification.objects.create(person=per, skill=SkillFactory())
    shift = Shift.objects.create(code="early", name="early", weekdays="MO", start_time="06:00", end_time="14:00")
    duty = ShiftDuty.objects.create(person=per, shift=shift, from_on=date(2026, 1, 1))
    absence = Absence.objects.create(person=per, start_at=now, end_at=now + timedelta(days=1))
    terms = SupplierTermsFactory()
    order = PurchaseOrder.objects.create(number="PO-0001", supplier=terms.supplier, drawn_up_at=now)
    order.lines.create(part=terms.part, quantity=10, unit_price=3)
    booked = receive(terms.part, Decimal(4), by=None, key=uuid4())
    work = WorkOrderFactory(kiln=kiln, component=fan, due_at=now, raised_at=now)
    step = WorkStepFactory(work_order=work)
    Placement.objects.create(work_order=work, start_at=now, end_at=now + timedelta(hours=2))
    ivo = UserFactory(username="ivo", role="kiln_master")
    check = FunctionCheck.objects.create(number="FC-0001", kiln=kiln, started_at=now, started_by=ivo)
    item = CheckItem.objects.create(check_up=check, point=CheckPointFactory(), component=fan)
    sitting = Sitting.objects.create(check_up=check, kiln_state="open_empty", started_at=now, by=ivo)
    entry = {"key": uuid4(), "at": now, "by": ivo}
    doubt = Finding.objects.create(item=item, sitting=sitting, result="worn", note="stiff", **entry)
    let_in = LetIn.objects.create(finding=doubt, act="let_in", why="It opens at the first go.", **entry)
    permit = EntryPermit.objects.create(
        kiln=kiln,
        act="opened",
        locked_out_by=per,
        watch_outside=watcher,
        temperature_c=20,
        is_escape_door_tried=True,
        **entry,
    )
    move = EntryMove.objects.create(permit=permit, act="in", person=per, **entry)
    alarm = EntryAlarm.objects.create(
        kiln=kiln, act="raised", permit=permit, source="readings", said="the fans turn", **entry
    )
    task = StandingTask.objects.create(
        code="grease", sheet=TaskSheetFactory(), kiln=kiln, anchor_on=now.date(), every=4, every_unit="week"
    )
    moved = ChangedDate.objects.create(
        standing_task=task, due_on=task.anchor_on + timedelta(weeks=4), why="The crew is away.", at=now
    )
    source, channel = ReadingSourceFactory(), ChannelFactory(kiln=kiln)
    named = source.names.create(name="T1", channel=channel)
    intake = source.intakes.create(
        file_name="k1.csv", digest="0" * 64, at=now, is_taken_in=False, faults=typed("empty")
    )
    looks_at = {"signal": "wet_bulb:left", "rule": "limit", "parameters": {"side": "above", "limit": 90, "clear": 80}}
    dry = Watch.objects.create(
        kiln=kiln, code="wick", name="Wick", severity="notice", component_kind=fan.kind, sentence="Dry.", **looks_at
    )
    fired = Firing.objects.create(watch=dry, begin_at=now, noticed_at=now, sentence=typed("Dry."))
    job = Job.objects.create(key="nothing", what="nothing", wanted_at=now, not_before_at=now)
    sending = ReadingSource.objects.create(code="controller", name="Controller", way="sends")
    token, _text = make_token(sending, by=None)
    said = ChargeWord.objects.create(
        key=uuid4(), charge=done, what="unloaded", at=now, told_at=now, before={"basis": "running"}, after={}
    )
    sign = ClimateSign.objects.create(kiln=kiln, kind="door", at=now, seen_at=now, noted_at=now, is_sure=True)
    claim = ChargeClaim.objects.create(
        source="planner", charge=done, subject="unloaded", said={"at": now.isoformat()}, digest="0" * 64, heard_at=now
    )
    return {
        "charges/": {"tag": kiln.tag, "pk": done.pk, "what": "unloaded", "word_pk": said.pk},
        "charges/<slug:tag>/claims/": {"tag": kiln.tag, "pk": claim.pk},
        "charges/<slug:tag>/signs/": {"tag": kiln.tag, "pk": sign.pk},
        "people/": {"code": "per", "pk": held.pk},
        "people/<slug:code>/shifts/": {"code": "per", "pk": duty.pk},
        "shifts/": {"code": shift.code},
        "people/<slug:code>/absences/": {"code": "per", "pk": absence.pk},
        "shifts/days-off/": {"pk": DayOff.objects.create(on=date(2026, 12, 25), name="Christmas Day").pk},
        "people/<slug:code>/sign-in/": {"code": "tove"},
        "sign-ins/": {"pk": UserFactory(username="per", role="technician", person=per).pk},
        "kilns/<slug:tag>/channels/": {"tag": kiln.tag, "pk": channel.pk},
        "readings/sources/": {"code": source.code, "token": "0" * 32, "pk": intake.pk},
        "readings/sources/<slug:code>/names/": {"code": source.code, "pk": named.pk},
        "kilns/<slug:tag>/components/": {"tag": kiln.tag, "component": fan.tag, "pk": fitted.pk},
        "kilns/": {"tag": kiln.tag, "pk": DowntimeFactory(kiln=kiln, start_at=now, end_at=None).pk},
        "background/": {"pk": job.pk},
        "readings/sources/<slug:code>/tokens/": {"code": sending.code, "pk": token.pk},
        "stores/parts/": {"code": terms.part.code, "supplier": terms.supplier.code},
        "stores/parts/<slug:code>/moves/": {"code": terms.part.code, "pk": booked.pk},
        "stores/orders/": {"number": order.number},
        "rounds/checks/": {"number": check.number, "pk": item.pk},
        "rounds/checks/<slug:number>/sittings/": {"number": check.number, "pk": sitting.pk},
        "rounds/defects/": {"pk": DefectFactory(kiln=kiln, component=fan).pk},
        "rounds/findings/": {"pk": doubt.pk},
        "rounds/let-ins/": {"pk": let_in.pk},
        "rounds/permits/": {"pk": permit.pk, "move": move.pk},
        "alarms/": {"pk": alarm.pk},
        "rounds/proof-tests/": {"pk": fan.pk},
        "rounds/recurring-tasks/": {"code": task.code, "on": str(task.anchor_on), "pk": moved.pk},
        "rounds/task-sheets/": {"code": task.sheet.code, "no": 1},
        "rounds/check-points/": {"code": item.point.code, "no": 1},
        "openings/": {"tag": kiln.tag, "key": f"after-{done.pk}"},
        "openings/work-orders/": {"number": work.number},
        "openings/plans/": {"pk": Plan.objects.create(name="for Monday", wanted_at=now).pk, "number": work.number},
        "openings/jobs/": {"number": work.number},
        "work-orders/": {"number": work.number, "no": step.no},
        "calendar/": {"token": "0" * 43},
        "files/": {"key": FilesBrought.objects.create(key=uuid4(), sent_at=now).key, "table": "kilns", "form": "csv"},
        "watches/": {"pk": dry.pk},
        "watches/firings/": {"pk": fired.pk},
    }


def url_of(address: Address, things: dict[str, dict[str, Any]]) -> str:
    """Fill the gaps of an address."""
    url = "/" + address.route
    if not address.converters:
        return url
    fitting = [beginning for beginning in things if address.route.startswith(beginning)]
    assert fitting, f"{address.name}: say in `things` what stands in its gaps"
    values = things[max(fitting, key=len)]
    for name in address.converters:
        assert name in values, f"{address.name}: say in `things` what stands for {name}"
        for kind in ("slug", "int", "uuid"):
            url = url.replace(f"<{kind}:{name}>", str(values[name]))
    assert "<" not in url, f"{address.name}: a gap of an unknown kind in {url}"
    return url


def signed_in(role: str) -> Client:
    client = Client()
    client.force_login(UserFactory(username=f"is-{role}", role=role), backend=BACKEND)
    return client


def status_of(client: Client, url: str, *, sends: bool) -> int:
    """Ask for an address; one that only takes what a form sends (405) is sent an empty form where ``sends`` is set."""
    status = client.get(url).status_code
    return client.post(url).status_code if status == 405 and sends else status


def test_every_view_says_which_act_it_needs() -> None:
    assert len(ADDRESSES) > 40
    open_names = FOR_ALL | BY_TOKEN | BY_SECRET_ADDRESS
    silent = [address.name for address in ADDRESSES if address.act is None and address.name not in open_names]
    assert silent == []
    assert {address.act for address in ADDRESSES if address.act} <= set(access_table())


def test_every_act_of_the_table_has_a_meaning_and_somebody_who_may() -> None:
    assert [act for act, roles in access_table().items() if not roles] == []
    assert Role.ADMINISTRATOR in set.intersection(*(set(roles) for roles in access_table().values()))


def test_an_auditor_may_nothing_but_look() -> None:
    allowed = {act for act, roles in access_table().items() if Role.AUDITOR in roles}
    assert [act for act in sorted(allowed) if not act.startswith("see ")] == []


@pytest.mark.parametrize("method", ["get", "post"])
def test_strangers_are_sent_to_the_sign_in(things: dict[str, dict[str, Any]], method: str) -> None:
    client = Client()
    for address in ADDRESSES:
        if address.name not in FOR_ALL | BY_TOKEN | BY_SECRET_ADDRESS:
            answer = getattr(client, method)(url_of(address, things))
            assert answer.status_code == 302, address.name
            assert answer["Location"].startswith("/sign-in/?next="), address.name


def test_strangers_reach_what_is_open_to_all(things: dict[str, dict[str, Any]]) -> None:
    assert Client().get("/sign-in/").status_code == 200
    assert Client().get("/alive/").status_code == 200
    assert Client().get("/static/kilnward/kilnward.css").status_code == 200


@pytest.mark.parametrize("role", ["", *Role.values])
def test_no_sign_in_takes_the_place_of_a_token(things: dict[str, dict[str, Any]], role: str) -> None:
    client = signed_in(role) if role else Client()
    for address in ADDRESSES:
        if address.name in BY_TOKEN:
            assert status_of(client, url_of(address, things), sends=True) == 401, address.name


@pytest.mark.parametrize("role", ["", *Role.values])
def test_no_sign_in_takes_the_place_of_a_secret_address(things: dict[str, dict[str, Any]], role: str) -> None:
    client = signed_in(role) if role else Client()
    for address in ADDRESSES:
        if address.name in BY_SECRET_ADDRESS:
            assert client.get(url_of(address, things)).status_code == 404, address.name


@pytest.mark.parametrize("role", Role.values)
def test_a_role_gets_in_exactly_where_the_table_lets_it(things: dict[str, dict[str, Any]], role: str) -> None:
    client = signed_in(role)
    wrong = []
    for address in ADDRESSES:
        if address.act is None:
            continue
        may = role in access_table()[address.act]
        status = status_of(client, url_of(address, things), sends=not may)
        if status not in ((200, 302, 405) if may else (403,)):
            wrong.append((address.name, status))
    assert wrong == []


def test_somebody_without_a_role_gets_in_nowhere(things: dict[str, dict[str, Any]]) -> None:
    client = Client()
    client.force_login(UserFactory(username="new"), backend=BACKEND)
    for address in ADDRESSES:
        if address.act:
            assert status_of(client, url_of(address, things), sends=True) == 403, address.name


def rows() -> dict[str, list[Any]]:
    """Everything that is stored, but for the traces of looking and the instant of the last sign-in."""
    kept = {}
    for model in apps.get_models():
        if model._meta.label not in TRACES:
            names = [field.attname for field in model._meta.concrete_fields if field.attname != "last_login"]
            kept[model._meta.label] = sorted(map(repr, model._default_manager.values_list(*names)))
    return kept


def test_whatever_an_auditor_sends_changes_nothing(things: dict[str, dict[str, Any]]) -> None:
    client = signed_in(Role.AUDITOR)
    before = rows()
    for address in ADDRESSES:
        if address.act and address.name not in AUDITOR_MAY_SEND:
            status = client.post(url_of(address, things), {"why": "a try", "key": str(uuid4())}).status_code
            may = Role.AUDITOR in access_table()[address.act]
            assert status == 403 if not may else status < 500, (address.name, status)
    assert rows() == before


def test_a_sign_in_that_was_switched_off_is_out_at_once(things: dict[str, dict[str, Any]]) -> None:
    client = signed_in(Role.PLANNER)
    User.objects.filter(username="is-planner").update(is_active=False)
    assert client.get("/kilns/").status_code == 302


@pytest.mark.parametrize("role", [Role.ADMINISTRATOR, Role.TECHNICIAN])
def test_before_the_mill_is_named_no_page_fails(db: None, role: str) -> None:
    client = signed_in(role)
    client.raise_request_exception = False
    answers = {one.name: client.get("/" + one.route) for one in ADDRESSES if not one.converters}
    assert [name for name, answer in answers.items() if answer.status_code >= 500] == []


def test_before_the_mill_is_named_pages_say_that_this_comes_first(db: None) -> None:
    page = signed_in(Role.ADMINISTRATOR).get("/my-work/", follow=True)
    assert page.redirect_chain == [("/first-hour/", 302)] and "name the mill first" in page.content.decode()
    client = signed_in(Role.TECHNICIAN)
    refused = client.get("/my-work/")
    assert refused.status_code == 409 and "An administrator names the mill first." in refused.content.decode()
    assert client.get("/", follow=True).status_code == 200
