"""What is proposed for a new kiln: its positions, what recurs on them and what watches them, from the catalogue."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from dateutil.relativedelta import relativedelta

from maintenance.models import CheckPoint, StandingDefault, StandingTask, TaskSheet
from maintenance.recurring.forms import proposed
from maintenance.setting_up.calculations.make_up import (
    TRAP_SURVEYS,
    Answers,
    Position,
    first_date,
    positions,
    trap_survey_fits,
)
from maintenance.setting_up.proposed_watches import ProposedWatch, proposed_watches
from plant.basics.sentences import Sentence
from plant.models import Component, ComponentKind, Kiln

# By whether a survey of steam traps suits the pressure that was said; None where none was.
WHY_OF_SURVEY = {
    True: Sentence.of("setup.by_pressure"),
    False: Sentence.of("setup.other_pressure"),
    None: Sentence.of("setup.pressure_unknown"),
}
# Roughly, only to spread first dates by.
USUAL_DAYS_PER_CHARGE, USUAL_RUNNING_H_PER_DAY = 8, 20


@dataclass(frozen=True)
class ProposedPosition:
    """A position, its kind and name, and how many points of the function check come with its kind."""

    position: Position
    kind: ComponentKind
    points: int

    @property
    def name(self) -> str:
        """Name it as people would; they may change it later."""
        if self.position.number is not None:
            return f"{self.kind.name} {self.position.number}"
        if self.position.side in (Component.Side.LEFT, Component.Side.RIGHT):
            return f"{self.kind.name}, {Component.Side(self.position.side).label}"
        return self.kind.name


@dataclass(frozen=True)
class ProposedTask:
    """What may recur: the task as it would be kept, the positions it serves, and whether it is proposed or only there.

    ``place`` names the position where there are several tasks of the sheet; ``why`` says what needs to be said of it.
    """

    key: str
    task: StandingTask
    default: StandingDefault
    serves: tuple[str, ...]
    place: str
    is_proposed: bool
    why: Sentence | None

    @property
    def every(self) -> int:
        """Return the number of its interval, in the unit of the catalogue."""
        return int(self.task.every or self.task.every_running_h or self.task.every_charges or 0)

    @property
    def is_published(self) -> bool:
        """Say whether the interval is somebody's published one."""
        return self.default.interval_is == CheckPoint.IntervalIs.PUBLISHED


@dataclass(frozen=True)
class Proposal:
    """All that is proposed for one kiln."""

    positions: tuple[ProposedPosition, ...]
    tasks: tuple[ProposedTask, ...]
    watches: tuple[ProposedWatch, ...]


def propose(kiln: Kiln, answers: Answers, today: date) -> Proposal:
    """Propose what a new kiln, not kept yet, is made of, what recurs on it and what it is watched for.

    Positions whose kind is not in the catalogue are left out: nothing could be looked at or done there.
    """
    wanted = positions(answers)
    kinds = ComponentKind.objects.in_bulk({one.kind for one in wanted}, field_name="code")
    points = Counter(CheckPoint.objects.in_use().filter(kind__in=kinds.values()).values_list("kind__code", flat=True))
    found = [ProposedPosition(one, kinds[one.kind], points[one.kind]) for one in wanted if one.kind in kinds]
    there = [one.position for one in found]
    return Proposal(tuple(found), tuple(_tasks(kiln, answers, today, there)), proposed_watches(answers, there))


def _tasks(kiln: Kiln, answers: Answers, today: date, wanted: Sequence[Position]) -> list[ProposedTask]:
    tags: dict[str, list[str]] = defaultdict(list)
    for one in wanted:
        tags[one.kind].append(one.tag)
    in_use = TaskSheet.objects.in_use().filter(kind__code__in=tags)
    defaults = StandingDefault.objects.filter(sheet__in=in_use).select_related("sheet__kind")
    found: list[ProposedTask] = []
    for default in defaults.order_by("sheet__kind__end_view_no", "sheet__title"):
        there = tags[default.sheet.kind.code]
        # A way out is tested one by one; of the rest a job serves all that the kiln has of a kind.
        for serves in [(tag,) for tag in there] if default.sheet.is_proof_test else [tuple(there)]:
            found.append(_task(kiln, answers, today, default, serves, len(found)))
    return found


def _task(
    kiln: Kiln, answers: Answers, today: date, default: StandingDefault, serves: tuple[str, ...], place: int
) -> ProposedTask:
    sheet = default.sheet
    task = proposed(sheet, kiln, None)
    is_safety = sheet.is_safety or sheet.is_proof_test
    task.anchor_on = first_date(today, _days_of(task, today), place, is_safety=is_safety)
    is_survey, fits = sheet.code in TRAP_SURVEYS, trap_survey_fits(sheet.code, answers)
    return ProposedTask(
        key=f"{sheet.code}/{serves[0]}" if sheet.is_proof_test else sheet.code,
        task=task,
        default=default,
        serves=serves,
        place=serves[0] if sheet.is_proof_test else "",
        is_proposed=not is_survey or bool(fits),
        why=WHY_OF_SURVEY[fits] if is_survey else None,
    )


def _days_of(task: StandingTask, today: date) -> int:
    """Return how many days lie between two dates of a task, roughly where hours or charges count."""
    if task.every and task.every_unit == StandingTask.Unit.MONTH:
        return (today + relativedelta(months=task.every) - today).days
    if task.every:
        return (timedelta(weeks=1) * task.every).days if task.every_unit == StandingTask.Unit.WEEK else task.every
    if task.every_charges:
        return task.every_charges * USUAL_DAYS_PER_CHARGE
    return (task.every_running_h or 0) // USUAL_RUNNING_H_PER_DAY
