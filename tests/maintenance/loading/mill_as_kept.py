"""A whole mill as rows that say what they refer to by its code, so that two databases can be compared."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from django.apps import apps
from django.db import models

from plant.frame.saying import say

APPS: Final = ("plant", "inventory", "maintenance")

#: Models whose rows do not leave by files -> why.
STAY: Final[Mapping[str, str]] = {
    **dict.fromkeys(("Job", "JobAttempt", "Heartbeat", "DayRun", "PlaceLook", "TellingLook"), "background work"),
    **dict.fromkeys(("ComponentKind", "FailureMode", "Skill", "PartKind", "Caution"), "comes with the product"),
    **dict.fromkeys(
        ("Change", "MissedOccurrence", "TakenBack", "SheetVersion", "PointVersion"), "the history of this database"
    ),
    "ChargeWord": "who told what of a charge: its times and how far it is leave, the words stay",
    **dict.fromkeys(("EntryPermit", "EntryMove", "EntryAlarm", "LetIn"), "who is inside is true of one place only"),
    **dict.fromkeys(
        ("Reading", "ChannelDay", "Unsettled", "ChargeFigure", "ChamberTest", "ClimateSign"), "come from the readings"
    ),
    **dict.fromkeys(("ReadingSource", "ChannelName", "SourceToken", "FileIntake"), "ways in, with their secrets"),
    "Firing": "what watches said of readings that stay",
    **dict.fromkeys(("Plan", "Placement", "Assignment", "KilnStop"), "planned anew from what leaves"),
    **dict.fromkeys(("ReorderAdvice", "PriceOfWaiting"), "worked out anew from what leaves"),
    **dict.fromkeys(("CalendarAddress", "ToldPlace", "ToldLockOut", "Telling"), "told to people from here"),
    **dict.fromkeys(("KeptForm", "FilesBrought"), "typed or sent and not taken yet"),
    "ChargeClaim": "what other programs said beside what people planned: they say it again",
    "NumberSeries": "goes on after the numbers of the files",
    "Sitting": "laid anew from the findings of a day",
    "Reservation": "laid anew from what past work took; what is set aside for work ahead comes with that work",
    "WorkPart": "laid anew from what past work took",
    "WorkStep": "laid anew from the task sheets",
    "WorkSkill": "laid anew from the task sheets",
    "StepRecord": "the readings leave with the work; who ticked which step stays",
}

#: Fields that do not leave -> why.
LEFT_OUT: Final[Mapping[str, Mapping[str, str]]] = {
    "TaskSheet": dict.fromkeys(("version", "copied_version"), "versions are of this database"),
    "CheckPoint": dict.fromkeys(("version", "copied_version"), "versions are of this database"),
    "Watch": dict.fromkeys(("looked_until_s", "carried", "version"), "it looks from now on"),
    "ChangedDate": dict.fromkeys(("work_order", "taken_back_at", "taken_back_by"), "of work that stays"),
    "User": {
        **dict.fromkeys(("password", "has_first_password", "last_login", "date_joined"), "secrets and traces of use"),
        **dict.fromkeys(("known_pages", "first_name", "last_name", "is_superuser", "is_staff"), "the reader's own"),
        **dict.fromkeys(("email", "is_active"), "the person's stand in the files"),
    },
    "Charge": {"key": "of the form by which it was planned"},
    "Downtime": {"key": "of the form by which it was told"},
    "PurchaseOrder": {"drawn_up_by": "who drew it up", "version": "of this database"},
    "StockMove": {"key": "of the booking", "reservation": "laid anew"},
    "Lot": {"received_on": "the day of its first move"},
    "StandingTask": dict.fromkeys(("next_due_on", "next_due_why", "version"), "worked out by the day's run"),
    "CheckItem": {"point_version": "versions of the catalogue are of this database"},
    "Finding": {
        **dict.fromkeys(("key", "sitting", "against", "confirms"), "how two findings were settled stays"),
    },
    "ProofTest": {"key": "of the entry"},
    "Labour": dict.fromkeys(("key", "at", "by"), "of the entry"),
    "WorkOrder": dict.fromkeys(
        ("cost_unknown_why", "no_place_why", "pin_lost_why", "left_out_by", "paused_at", "version", "sheet_version"),
        "where it has its place is planned anew",
    ),
}
#: What of work that is over does not leave: why it was raised.
OF_WORK_AHEAD: Final = (
    *("defect", "check_up", "earliest_at", "safety_at", "cost_of_delay_per_day"),
    *("why", "left_out_at", "left_out_why", "not_before_on"),
)
AHEAD: Final = ("raised", "ready", "placed")
OVER: Final = ("done", "signed_off")


def compared() -> list[type[models.Model]]:
    """Return the models whose rows leave."""
    found = [model for app in APPS for model in apps.get_app_config(app).get_models()]
    return [model for model in found if model.__name__ not in STAY]


def mill_as_kept() -> dict[str, list[tuple[Any, ...]]]:
    """Return model -> its rows, sorted; work under way stays, and sign-ins without a person."""
    return {model.__name__: sorted(_rows(model), key=repr) for model in compared()}


def _rows(model: type[models.Model]) -> list[tuple[Any, ...]]:
    left_out = LEFT_OUT.get(model.__name__, {})
    names = [f.name for f in model._meta.concrete_fields if not f.primary_key and f.name not in left_out]
    assert set(left_out) <= {f.name for f in model._meta.concrete_fields}, model
    many = [
        field.name
        for field in model._meta.many_to_many
        if model.__name__ in ("Part", "TaskSheet", "CheckPoint", "WorkOrder")
    ]
    manager: Any = getattr(model, "ever", model._default_manager)
    rows = manager.all()
    if model.__name__ == "WorkOrder":
        rows = rows.filter(state__in=(*OVER, *AHEAD))
    if model.__name__ == "Labour":
        rows = rows.filter(work_order__state__in=OVER)
    if model.__name__ == "User":
        rows = rows.filter(person__isnull=False)
    if model.__name__ == "RoleHeld":
        rows = rows.filter(user__person__isnull=False)
    if model.__name__ == "ChangedDate":
        rows = rows.filter(taken_back_at__isnull=True)
    if model.__name__ == "Finding":
        rows = rows.filter(taken_back__isnull=True)
    return [
        tuple(
            (name, _plain(getattr(row, name)))
            if name not in many
            else (name, sorted(map(_code, getattr(row, name).all())))
            for name in (*names, *many)
            if not _stays(row, name)
        )
        for row in rows
    ]


def _stays(row: models.Model, name: str) -> bool:
    """Whether a field of a work order stays: its reasons once it is over, whether it has a place before."""
    if type(row).__name__ != "WorkOrder":
        return False
    return name in OF_WORK_AHEAD if row.state in OVER else name == "state"  # type: ignore[attr-defined]


def _plain(value: Any) -> Any:
    if isinstance(value, models.Model):
        return _code(value)
    if isinstance(value, Decimal):
        return value.normalize()
    if isinstance(value, tuple):
        return say(value)
    return value


def _code(thing: Any) -> str:
    """Return what tells a thing from all others of its kind."""
    parts = [
        _code(getattr(thing, name))
        for name in ("kiln", "order", "check_up", "point", "component", "charge", "item", "part", "sheet")
        if isinstance(getattr(thing, name, None), models.Model)
    ]
    own = [str(getattr(thing, name)) for name in OWN if getattr(thing, name, None) is not None]
    return "/".join([*parts, *own])


OWN: Final = ("code", "tag", "number", "username", "name", "source", "start_at", "at")
