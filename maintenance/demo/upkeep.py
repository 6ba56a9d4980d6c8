"""Recurring tasks and the work that was done: who, when, with which readings."""

import random
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import ceil

from dateutil.relativedelta import relativedelta

from maintenance.demo.world import (
    HOUR,
    UPKEEP_HOURS,
    ZONE,
    KilnStory,
    Row,
    Stop,
    World,
    last_slot,
    next_slot,
    read_catalogue,
    read_static,
)

# Work orders are written out for so long; older work stands in the recurring tasks' last dates alone.
WORK_DAYS = 300
# Tasks that recur with nearly every charge fill a book in weeks.
FREQUENT_DAYS, FREQUENT_WORK_DAYS = 9, 45
SAFETY_DAYS_EARLY = 9
# Work that is overdue: recurring task -> days from the demo's day on which it was due. One kiln is stopped with
# its charge; the other waits for a seat kit that is late.
OVERDUE = {"K3-coil-clean": -9, "K1-heating-valve-seat": -12}
# How many days before its date it may be done: openings do not come by the calendar. Others as the catalogue says.
WINDOW_DAYS = {"escape-door": 21, "burner-controls": 4}
# What the openings of the day hold, beside what chance brings: recurring task -> days to its date.
SOON = {
    "K1-nozzle-descale": 4,
    "K1-coil-clean": 6,
    "K1-fan-blade-inspection": 9,
    "K2-door-fasteners": 5,
    "K2-electrode-cable-test": 3,
    "K8-flap-linkage": 8,
}
# Tasks that somebody wrote down last week: never done so far. Recurring task -> days to their first date.
NEW = {"K8-door-fasteners": 17, "K6-baffle-mend": 31}
# One test was forgotten in the last opening, and the charge that is in now takes three weeks.
FORGOTTEN, FORGOTTEN_DAYS = "K6-escape-door-proof-test-escape-door-1", 10
# Spreads the dates of one sheet over the kilns: multiples of it never crowd.
GOLDEN = (5**0.5 - 1) / 2
PEOPLE = {
    "ilse": ("kiln-operation", "sensor-calibration", "proof-testing", "lock-out", "training", "cleaning"),
    "per": ("mechanical", "steam-fitter", "fuel-fitter", "lock-out", "work-at-height", "proof-testing", "cleaning"),
    "jon": ("electrical", "mechanical", "lock-out", "thermography", "sensor-calibration", "work-at-height"),
    "una": ("mechanical", "steam-fitter", "lock-out", "work-at-height", "proof-testing", "insulation-work", "cleaning"),
    "bo": ("kiln-operation", "sensor-calibration", "lock-out", "cleaning", "confined-space-watch"),
    "oda": ("mechanical", "insulation-work", "lock-out", "kiln-operation"),
    "tova": ("cleaning", "insulation-work", "confined-space-watch"),
}
# Who signs work off.
SIGNERS = ("oda", "ilse")
DAYS_A_UNIT = {"day": 1.0, "week": 7.0, "month": 30.44, "running_hour": 1 / 20, "charge": 6.5}
RESULTS = (
    "Done as the sheet says; nothing out of the ordinary.",
    "Done. A little wear, watch it at the next check.",
    "Done in one go. Cleaned up afterwards.",
    "Done; the old part was kept on the bench for a look.",
)


@dataclass
class Task:
    """One recurring task with what was done for it: (date it settles, when it was started)."""

    code: str
    kiln: str
    component: str
    sheet: Row
    interval_days: float
    months: int
    row: Row
    done: list[tuple[date, datetime]] = field(default_factory=list)


@dataclass
class Work:
    """A past work order."""

    raised: datetime
    row: Row
    sheet: str
    is_planned: bool
    number: str = ""
    # Parts taken beside those of the sheet: (part, quantity).
    parts: tuple[tuple[str, float], ...] = ()


class Upkeep:
    """What the crew has done."""

    def __init__(self, world: World, stories: list[KilnStory]) -> None:
        self.world = world
        self.stories = {story.tag: story for story in stories}
        self.sheets = {row["code"]: row for row in read_catalogue("task_sheets")}
        self.defaults = {row["sheet"]: row for row in read_catalogue("standing_defaults")}
        self.steps: dict[str, list[Row]] = defaultdict(list)
        for step in read_catalogue("task_steps"):
            self.steps[step["sheet"]].append(step)
        self.tasks: list[Task] = []
        for plan in read_static("standing_plan"):
            self.tasks += self._tasks_of(plan)
        self.work = sorted([*self._planned_work(), *self._repairs()], key=lambda work: (work.raised, str(work.row)))
        for number, work in enumerate(self.work, start=1):
            work.number = work.row["number"] = f"WO-{number:04d}"

    def _tasks_of(self, plan: dict[str, str]) -> list[Task]:
        sheet = self.sheets[plan["sheet"]]
        wanted = plan["kilns"].split()
        tasks = []
        for kiln in self.stories:
            found = self.world.components_of(kiln, sheet["component_kind"])
            if not found or (wanted and kiln not in wanted):
                continue
            if sheet["component_kind"] == "escape-door":
                # A way out is tested one by one.
                tasks += [self._task(plan, sheet, kiln, door["tag"], f"-{door['tag']}") for door in found]
            else:
                tasks.append(self._task(plan, sheet, kiln, found[0]["tag"] if len(found) == 1 else "", ""))
        return tasks

    def _task(self, plan: dict[str, str], sheet: Row, kiln: str, component: str, suffix: str) -> Task:
        default = self.defaults[sheet["code"]]
        if plan["every"]:
            every, unit = int(plan["every"]), plan["every_unit"]
        elif plan["every_running_h"]:
            every, unit = int(plan["every_running_h"]), "running_hour"
        elif plan["every_charges"]:
            every, unit = int(plan["every_charges"]), "charge"
        else:
            every, unit = int(default["every"]), default["every_unit"]
        code = f"{kiln}-{sheet['code']}{suffix}"
        dice = self.world.dice("task", code)
        per_charge = self._days_per_charge(kiln) if unit == "charge" else DAYS_A_UNIT[unit]
        interval = every * per_charge
        months = every if unit == "month" else 0
        row: Row = {
            "code": code,
            "sheet": sheet["code"],
            "kiln": kiln,
            "component": component,
            "anchor_on": self._anchor(code, kiln, dice, months, interval),
            "every": every if unit in ("day", "week", "month") else None,
            "every_unit": unit if unit in ("day", "week", "month") else "",
            "every_running_h": every if unit == "running_hour" else None,
            "every_charges": every if unit == "charge" else None,
            "window_before_days": WINDOW_DAYS.get(sheet["component_kind"]),
            "cost_of_delay_per_day": plan["cost_of_delay_per_day"],
            "is_active": True,
        }
        task = Task(code, kiln, component, sheet, interval, months, row)
        if code not in NEW:
            self._do_past_work(task, dice)
        return task

    def _days_per_charge(self, kiln: str) -> float:
        charges = self.stories[kiln].charges
        return (charges[-1].end - charges[0].begin) / (24 * HOUR) / len(charges)

    def _anchor(self, code: str, kiln: str, dice: random.Random, months: int, interval: float) -> date:
        """Count from a day before the demo's past, such that the next dates spread evenly over the interval."""
        share = (int(kiln[1:]) * GOLDEN + len(self.tasks) * GOLDEN**2 + dice.uniform(0, 0.1)) % 1
        ahead = (OVERDUE | SOON | NEW).get(code, round(share * interval))
        day = self.world.day + timedelta(days=ahead)
        if code in NEW:
            return day
        intervals = ceil(self.world.months * 30.44 / interval) + 1
        if not months:
            return day - timedelta(days=round(intervals * interval))
        return (day - relativedelta(months=months * intervals)).replace(day=min(day.day, 28))

    def _do_past_work(self, task: Task, dice: random.Random) -> None:
        story, until = self.stories[task.kiln], self.world.now - 2 * HOUR
        hours = float(task.sheet["hours"])
        due = task.row["anchor_on"]
        step = 0
        while True:
            step += 1
            due = self._next_due(task, due, step)
            is_left = task.code in OVERDUE and due >= self.world.day + timedelta(days=OVERDUE[task.code] - 3)
            if due > self.world.day + timedelta(days=9) or is_left:
                break
            early = self._days_early(task, dice)
            around = datetime.combine(due - timedelta(days=early), datetime.min.time(), tzinfo=ZONE) + 8 * HOUR
            started = story.time_for(task.sheet["needs_state"], around, hours, until)
            if started is None and due < self.world.day and task.code not in OVERDUE:
                # The opening that should have brought it came late: it was done in the one before.
                started = self._in_last_opening(task, hours)
            if started is None:
                break
            if task.done and started <= task.done[-1][1]:
                # Two dates met in one opening: the work was done once, the other date was missed.
                continue
            task.done.append((due, started))
            if not task.months or task.sheet["is_safety"] == "yes":
                # These are counted from the day on which they were done.
                due, step = started.astimezone(ZONE).date(), 0
        self._see_to_safety(task, hours)
        if task.done:
            _, started = task.done[-1]
            task.row["last_done_on"] = started.astimezone(ZONE).date()
            if task.row["every_running_h"]:
                task.row["last_done_running_h"] = story.shown_h(started)
            if task.row["every_charges"]:
                task.row["last_done_charges"] = story.charges_done(started)

    def _see_to_safety(self, task: Task, hours: float) -> None:
        """What could not wait for the next opening was done in the last one; but one was forgotten."""
        story, world = self.stories[task.kiln], self.world
        if task.code == FORGOTTEN:
            # In the one before it was done in time, were it on a Sunday.
            last = max(start for start, _ in story.openings() if start < world.at(-FORGOTTEN_DAYS)) + HOUR / 2
            task.done = [done for done in task.done if done[1] < last - 5 * 24 * HOUR]
            task.done.append((last.astimezone(ZONE).date(), last))
            return
        if task.sheet["is_safety"] != "yes" or not task.done:
            return
        due = self._next_due(task, task.done[-1][1].astimezone(ZONE).date(), 1)
        if task.sheet["needs_state"] != "empty":
            if due < world.day + timedelta(days=4):
                task.done.append((due, last_slot(world.now, hours + 1, UPKEEP_HOURS)))
            return
        ahead = story.time_for("empty", world.at(1), hours + 3, world.at(world.ahead_days))
        if ahead is not None and (ahead + (hours + 2) * HOUR).astimezone(ZONE).date() <= due:
            return
        slot = self._in_last_opening(task, hours)
        if slot is not None:
            task.done.append((min(due, slot.astimezone(ZONE).date()), slot))

    def _in_last_opening(self, task: Task, hours: float) -> datetime | None:
        """Return when work found a place in the last opening that had one, if it was not done then already."""
        earliest = task.done[-1][1] + timedelta(days=task.interval_days / 3) if task.done else self.world.start
        for start, end in reversed(list(self.stories[task.kiln].openings())):
            slot = next_slot(start + HOUR / 2, hours, UPKEEP_HOURS)
            if slot + hours * HOUR <= min(end, self.world.now):
                return slot if slot > earliest else None
        return None

    def _days_early(self, task: Task, dice: random.Random) -> int:
        """What keeps people safe is done in the first opening of its window; the rest when it is due."""
        if task.sheet["is_safety"] == "yes" and task.interval_days > FREQUENT_DAYS:
            return SAFETY_DAYS_EARLY
        return dice.choice((0, 0, 1, 2)) if task.interval_days > FREQUENT_DAYS else 0

    def _next_due(self, task: Task, due: date, step: int) -> date:
        story = self.stories[task.kiln]
        if task.row["every_charges"] or task.row["every_running_h"]:
            at = datetime.combine(due, datetime.min.time(), tzinfo=ZONE)
            if at >= story.charges[0].begin:
                return story.used_up(at, task.row["every_charges"], task.row["every_running_h"]).astimezone(ZONE).date()
        if task.months:
            anchor: date = task.row["anchor_on"]
            if task.sheet["is_safety"] == "yes":
                return due + relativedelta(months=task.months)
            return anchor + relativedelta(months=task.months * step)
        return due + timedelta(days=max(round(task.interval_days), 1))

    def _planned_work(self) -> list[Work]:
        found = []
        for task in self.tasks:
            days = FREQUENT_WORK_DAYS if task.interval_days <= FREQUENT_DAYS else WORK_DAYS
            since = self.world.now - timedelta(days=days)
            for due, started in task.done:
                if started < since:
                    continue
                dice = self.world.dice("work", task.code, due.isoformat())
                raised = max(started - timedelta(days=dice.randint(12, 40)), self.world.start)
                row: Row = {
                    "sheet": task.sheet["code"],
                    "kiln": task.kiln,
                    "component": task.component,
                    "recurring_task": task.code,
                    "occurrence_on": due,
                    "due_at": datetime.combine(due, datetime.min.time(), tzinfo=ZONE) + 15 * HOUR,
                    "readings": self._readings(task.sheet["code"], dice),
                    "result": dice.choice(RESULTS),
                }
                self._fill_in(row, raised, started, float(task.sheet["hours"]), dice)
                found.append(Work(raised, row, task.sheet["code"], is_planned=True))
        return found

    def _fill_in(
        self,
        row: Row,
        raised: datetime,
        started: datetime,
        hours: float,
        dice: random.Random,
        asked_for: list[str] | None = None,
    ) -> None:
        """Add who did it and how long it took."""
        sheet = self.sheets.get(row.get("sheet", ""))
        skills = sheet["skills"].split("; ") if sheet else asked_for or ["mechanical"]
        crew = int(sheet["crew"]) if sheet else 1
        length = timedelta(minutes=5 * max(round(hours * 12 * dice.uniform(0.8, 1.25)), 1))
        done = min(started + length, self.world.now - HOUR)
        minutes = max(round((done - started).total_seconds() / 60), 5)
        people = _crew_for(skills, crew, dice)
        row["labour"] = "; ".join(f"{person} {minutes}" for person in people)
        signed = done + timedelta(hours=dice.choice((1, 2, 16, 20)))
        row |= {
            "raised_at": raised,
            "started_at": started,
            "done_at": done,
            # The last few wait for somebody to look at them.
            "signed_off_at": signed if signed < self.world.now - 20 * HOUR else None,
            # By somebody who did not do it.
            "signed_off_by": dice.choice([person for person in SIGNERS if person not in people]),
        }

    def _readings(self, sheet: str, dice: random.Random) -> str:
        taken = []
        for step in self.steps[sheet]:
            if not step["reading_name"]:
                continue
            low, high = (float(step[name]) if step[name] else None for name in ("low", "high"))
            if low is None and high is None:
                continue
            first = low if low is not None else 0.0
            last = high if high is not None else first + max(abs(first) * 0.4, 4)
            value = first + (last - first) * dice.uniform(0.2, 0.8)
            taken.append(f"{step['no']}={value:.1f}" if last - first > 1 else f"{step['no']}={value:.2f}")
        return "; ".join(taken)

    def _repairs(self) -> list[Work]:
        """What ended an unplanned stop was a work order too."""
        return [
            self._repair(story.tag, stop, stop.end)
            for story in self.stories.values()
            for stop in story.stops
            if stop.kind == "unplanned" and stop.end is not None
        ]

    def _repair(self, kiln: str, stop: Stop, end: datetime) -> Work:
        dice = self.world.dice("repair", kiln, stop.start.isoformat())
        hours = round(max(0.5, min((end - stop.start) / HOUR * 0.5, 5)) * 4) / 4
        started = end - hours * HOUR
        row: Row = {
            "title": f"Mend: {stop.cause[0].lower()}{stop.cause[1:]}",
            "kiln": kiln,
            "component": stop.component,
            "origin": "asked_for",
            "needs_state": "still",
            "hours": hours,
            "crew": 1,
            "due_at": stop.start + 24 * HOUR,
            "result": "Mended; the kiln went on.",
            "ended_downtime": stop.start,
        }
        self._fill_in(row, stop.start + HOUR / 4, started, hours, dice, [stop.pattern["skill"]])
        row["done_at"] = end
        if row["signed_off_at"]:
            row["signed_off_at"] = max(row["signed_off_at"], end + HOUR)
        used = ((stop.pattern["part"], float(stop.pattern["quantity"])),) if stop.pattern["part"] else ()
        return Work(row["raised_at"], row, "", is_planned=False, parts=used)

    def proof_tests(self) -> list[Row]:
        """Return every test of what fails unseen, with seals numbered in the order of the tests."""
        orders = {(work.row.get("recurring_task"), work.row["started_at"]): work.number for work in self.work}
        teams = {(work.row.get("recurring_task"), work.row["started_at"]): work.row["labour"] for work in self.work}
        tests = [
            (started, task)
            for task in self.tasks
            if task.sheet["is_proof_test"] == "yes" and task.component
            for _, started in task.done
        ]
        rows = []
        for number, (started, task) in enumerate(sorted(tests, key=lambda test: (test[0], test[1].code))):
            tested = started + HOUR / 3
            on = tested.astimezone(ZONE).date()
            dice = self.world.dice("proof", task.code, started.isoformat())
            # What bears no seal gets a tag.
            mark = "S" if task.sheet["component_kind"] == "escape-door" else "T"
            rows.append(
                {
                    "kiln": task.kiln,
                    "component": task.component,
                    "tested_at": tested,
                    "tested_by": _tester(
                        teams.get((task.code, started), ""), task.sheet["skills"].split("; ")[0], dice
                    ),
                    "outcome": "passed",
                    "seal_no": f"{mark}-{10417 + number}",
                    "next_due_on": self._next_due(task, on, 1)
                    if not task.months
                    else on + relativedelta(months=task.months),
                    "note": "",
                    "work_order": orders.get((task.code, started), ""),
                }
            )
        return self._with_failure(rows)

    def _with_failure(self, rows: list[Row]) -> list[Row]:
        """Let one test have failed, so that a reader sees what that looks like."""
        for row in rows:
            if row["component"] == "escape-door-2" and row["tested_at"] > self.world.at(-220):
                failed = dict(row)
                failed |= {
                    "tested_at": row["tested_at"] - HOUR / 4,
                    "outcome": "failed",
                    "seal_no": "",
                    "next_due_on": row["tested_at"].astimezone(ZONE).date(),
                    "note": "Leaf jammed at the sill; grit removed, hinge freed, tested again at once.",
                }
                return [*rows, failed]
        return rows


def _tester(labour: str, skill: str, dice: random.Random) -> str:
    """Choose who tested: of the team where one is on record."""
    able = [person for person in PEOPLE if skill in PEOPLE[person]]
    team = [entry.split(" ")[0] for entry in labour.split("; ") if entry]
    return dice.choice([person for person in able if person in team] or able)


def _leaves_no_signer(person: str, people: list[str]) -> bool:
    return person in SIGNERS and any(other in SIGNERS for other in people)


def _crew_for(skills: list[str], crew: int, dice: random.Random) -> list[str]:
    """Choose people of whom each brings a skill that the others lack, then anybody; one is left to sign it off."""
    people: list[str] = []
    for skill in skills:
        if not any(skill in PEOPLE[person] for person in people):
            able = [person for person, known in PEOPLE.items() if skill in known]
            people.append(dice.choice([person for person in able if not _leaves_no_signer(person, people)]))
    others = [one for one in ("per", "una", "jon", "bo") if one not in people]
    while len(people) < crew:
        people.append(others.pop(0))
    return people
