"""The files of the crew: shifts, people with sign-ins, roles and skills, absences."""

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any, ClassVar

from maintenance.loading.base import BATCH, Load, Row, Span, Table, record_changes
from maintenance.loading.columns import (
    Choices,
    Code,
    Day,
    Email,
    Flag,
    Moment,
    Ref,
    Skills,
    Text,
    TimeOfDay,
    Weekdays,
    Whole,
)
from maintenance.loading.faults import CellFault
from plant import clock
from plant.access import Role
from plant.models import Absence, DayOff, Person, Qualification, RoleHeld, Shift, ShiftDuty, User


class ShiftTable(Table):
    """Shifts."""

    name = "shifts"
    meaning = "Working times that recur; one that ends before it starts ends the next day."
    model = Shift
    act = "edit people"
    key = ("code",)
    kind = "shift"
    columns = (
        Code("code", "short name", "early", is_required=True),
        Text("name", "long name", "Early shift", is_required=True, largest=60),
        Weekdays("weekdays", "weekdays, commas between", "MO,TU,WE,TH,FR", is_required=True),
        TimeOfDay("start_time", "start", "06:00", is_required=True),
        TimeOfDay("end_time", "end", "14:30", is_required=True),
        Whole("overtime_minutes", "most overtime in minutes", "120", default=120),
    )


class CrewTable(Table):
    """People."""

    name = "crew"
    meaning = (
        "People, their sign-in and roles, their shift, and their skills with the last day on which each counts. A new "
        "sign-in has no password yet: set one with manage.py changepassword NAME."
    )
    model = Person
    act = "edit people"
    acts: ClassVar[Mapping[str, str]] = {"sign_in": "give sign-ins", "roles": "give sign-ins"}
    key = ("code",)
    kind = "person"
    columns = (
        Code("code", "short name", "anna", is_required=True),
        Text("name", "name", "Anna Example", is_required=True, largest=80),
        Email("email", "e-mail", "anna@mill.example"),
        Text("phone", "telephone", "", largest=40),
        Code("sign_in", "name for signing in; empty: none", "anna", default="", largest=60),
        Choices("roles", f"of {', '.join(Role.values)}; semicolons between", "technician", options=Role),
        Ref("shift", "code of the shift", "early", to="shift"),
        Day("shift_from", "first day on this shift", "2026-01-01"),
        Skills(
            "skills",
            "codes of the catalogue, each with “until” and its last day if it runs out; semicolons between",
            "mechanical; lock-out until 2027-06-30",
            to="skill",
        ),
        Flag("is_active", "works here?", "yes", default=True),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Ask for what belongs together, and tell of skills that ran out."""
        v = row.values
        if v["shift"] and not v["shift_from"]:
            raise CellFault("the first day on the shift is missing", "Write a day as YYYY-MM-DD.", "shift_from")
        if v["roles"] and not v["sign_in"]:
            raise CellFault("somebody with a role needs a sign-in", "Write a name for signing in.", "sign_in")
        codes = [skill.code for skill, _ in v["skills"]]
        if doubled := next((code for code in codes if codes.count(code) > 1), None):
            raise CellFault(f"{doubled} is listed twice", "Keep one of them.", "skills")
        today = clock.today(load.customs.zone)
        for skill, until in v["skills"]:
            if until and until < today:
                load.warn(
                    self,
                    row,
                    "skills",
                    f"{skill.code} of {v['name']} ran out on {until:%Y-%m-%d}",
                    "Nobody is given work on it until it is renewed.",
                )

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Refuse a sign-in that two people share."""
        taken = {user.username.lower(): user for user in User.objects.select_related("person")}
        seen: dict[str, Row] = {}
        sound = []
        for row in rows:
            name = row.values["sign_in"].lower()
            user = taken.get(name)
            other = seen.get(name) if name else None
            if name and user and user.person and user.person.code != row.values["code"]:
                self._refuse_sign_in(load, row, f"{user.person.name} signs in with this name")
            elif other:
                self._refuse_sign_in(load, row, f"row {other.number} has the same sign-in")
            else:
                sound.append(row)
            seen[name] = row
        return sound

    def _refuse_sign_in(self, load: Load, row: Row, reason: str) -> None:
        load.fault(self, row, "sign_in", reason, "Choose another name.")

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Write sign-ins, roles, skills and turns."""
        touched = self._write_users([row for row in rows if row.values["sign_in"]], load)
        touched |= self._write_skills([row for row in rows if "skills" in row.text], load)
        touched |= self._write_duties([row for row in rows if row.values["shift"]])
        return touched

    def _write_users(self, rows: list[Row], load: Load) -> set[int]:
        touched: set[int] = set()
        users = {user.username.lower(): user for user in User.objects.prefetch_related("roles_held")}
        for row in rows:
            v = row.values
            user = users.get(v["sign_in"].lower())
            if user is None:
                user = User(username=v["sign_in"], email=v["email"], person=row.obj)
                user.set_unusable_password()
                user.save()
                touched.add(row.number)
            elif user.person_id != row.obj.pk:
                user.person = row.obj
                user.save(update_fields=["person"])
                touched.add(row.number)
            if "roles" in row.text and self._write_roles(user, set(v["roles"]), load):
                touched.add(row.number)
        return touched

    def _write_roles(self, user: User, wanted: set[str], load: Load) -> bool:
        held = {held.role for held in user.roles_held.all()}
        if held == wanted:
            return False
        user.roles_held.filter(role__in=held - wanted).delete()
        RoleHeld.objects.bulk_create([RoleHeld(user=user, role=role) for role in sorted(wanted - held)])
        if held:
            record_changes([(user, {"roles": ", ".join(sorted(held))}, {"roles": ", ".join(sorted(wanted))})], load.by)
        return True

    def _write_skills(self, rows: list[Row], load: Load) -> set[int]:
        touched: set[int] = set()
        kept: dict[int, dict[int, Qualification]] = {}
        for found in Qualification.objects.select_related("skill"):
            kept.setdefault(found.person_id, {})[found.skill_id] = found
        new: list[Qualification] = []
        for row in rows:
            had = kept.get(row.obj.pk, {})
            before = {found.skill.code: found.valid_until for found in had.values()}
            after = {skill.code: until for skill, until in row.values["skills"]}
            if before == after:
                continue
            touched.add(row.number)
            for skill, until in row.values["skills"]:
                if skill.pk not in had:
                    new.append(Qualification(person=row.obj, skill=skill, valid_until=until))
                elif had[skill.pk].valid_until != until:
                    had[skill.pk].valid_until = until
                    had[skill.pk].save(update_fields=["valid_until"])
            for found in had.values():
                if found.skill.code not in after:
                    found.delete()
            if had:
                record_changes([(row.obj, _told(before), _told(after))], load.by)
        Qualification.objects.bulk_create(new, batch_size=BATCH)
        return touched

    def _write_duties(self, rows: list[Row]) -> set[int]:
        touched: set[int] = set()
        kept: dict[int, list[ShiftDuty]] = {}
        for duty in ShiftDuty.objects.order_by("from_on"):
            kept.setdefault(duty.person_id, []).append(duty)
        for row in rows:
            shift, from_on = row.values["shift"], row.values["shift_from"]
            had = kept.get(row.obj.pk, [])
            if any(duty.shift_id == shift.pk and duty.from_on == from_on for duty in had):
                continue
            for duty in had:
                if duty.from_on < from_on and (duty.until_on is None or duty.until_on >= from_on):
                    duty.until_on = from_on - timedelta(days=1)
                    duty.save(update_fields=["until_on"])
            ShiftDuty.objects.create(person=row.obj, shift=shift, from_on=from_on)
            touched.add(row.number)
        return touched


def _told(skills: dict[str, date | None]) -> dict[str, Any]:
    return {"skills": "; ".join(f"{code} until {day}" if day else code for code, day in sorted(skills.items()))}


class ShiftDutyTable(Table):
    """Turns on shifts."""

    name = "shift_duties"
    meaning = (
        "Who is on which shift from when to when: all turns, those to come too. Whoever has one shift for good needs "
        "no row here: the crew file names it."
    )
    model = ShiftDuty
    act = "edit people"
    key = ("person", "shift", "from_on")
    spans = (Span("from_on", "until_on", "the turn ends before it starts", may_be_empty=True),)
    columns = (
        Ref("person", "code of the person", "anna", is_required=True, to="person"),
        Ref("shift", "code of the shift", "early", is_required=True, to="shift"),
        Day("from_on", "first day on it", "2026-01-01", is_required=True),
        Day("until_on", "last day on it; empty: for good", "2026-01-11"),
        Whole("every_weeks", "in one of so many weeks, the first that of from_on", "1", default=1, least="1", most="6"),
    )


class DayOffTable(Table):
    """Days off for everybody."""

    name = "days_off"
    meaning = "Days on which no shift begins."
    model = DayOff
    act = "edit people"
    key = ("on",)
    columns = (
        Day("on", "the day", "2026-12-25", is_required=True),
        Text("name", "what it is", "Christmas Day", is_required=True, largest=60),
    )


class AbsenceTable(Table):
    """Absences."""

    name = "absences"
    meaning = "Times in which somebody is not there."
    model = Absence
    act = "edit people"
    key = ("person", "start_at")
    spans = (Span("start_at", "end_at", "the absence ends before it starts"),)
    columns = (
        Ref("person", "code of the person", "anna", is_required=True, to="person"),
        Moment("start_at", "from", "2026-12-21 00:00", is_required=True),
        Moment("end_at", "until", "2027-01-04 00:00", is_required=True),
        Text("reason", "reason", "holiday", largest=80),
    )
