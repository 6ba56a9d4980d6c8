"""What is typed on a work order."""

from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Model, Q
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.actions import TakesFromOthers
from inventory.forms.fields import TakenFrom
from inventory.models import Part
from maintenance.checks.proof_tests import ProofAnswers, next_proof_on, testers
from maintenance.entry.lifting import what_it_lifts
from maintenance.entry.permits import may_lock_out, may_watch_outside, takes_people_inside
from maintenance.frame.fields import KeyField, MeasureField, TickField, VersionField
from maintenance.models import ProofTest, TaskSheet, WorkOrder, WorkStep
from maintenance.models.catalogue import NeedsState
from plant import clock
from plant.frame.days import Day, Moment
from plant.frame.measures import InUnitField
from plant.frame.units import reading_scale
from plant.models import Component, Downtime, FailureMode, Kiln, Mill, Person

# Stands beside codes of failure modes, which have no stop.
NOTHING = "."


class TeamField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """People to choose from, each with the skills that the job asks for."""

    skill_ids: frozenset[int] = frozenset()
    day: date

    def label_from_instance(self, obj: Model) -> str:
        """Say the name, and which of the skills somebody holds today."""
        held = obj.qualifications.all()  # type: ignore[attr-defined]
        counted = [str(one.skill) for one in held if one.skill_id in self.skill_ids and one.is_valid_on(self.day)]
        return f"{obj} ({', '.join(counted)})" if counted else str(obj)


class StartForm(forms.Form):
    """Start a job."""

    version = VersionField()
    people = TeamField(Person.objects.none(), label=_("Who does it"), widget=forms.CheckboxSelectMultiple)
    is_cautions_read = TickField(_("We have read all cautions, and what must be so before the start is so."))
    is_own_lock_on = forms.BooleanField(
        label=_("Those who are not in yet go in now, each with a lock of their own on."), required=False
    )
    locked_out_outside_by = forms.ModelChoiceField(Person.objects.none(), label=_("Locked out by"), required=False)
    stays_outside = forms.ModelChoiceField(
        Person.objects.none(),
        label=_("Stays outside at the main door"),
        help_text=_("The tester tries the door from inside; this one, nobody of the team, holds the main door open."),
    )

    def __init__(self, *args: Any, order: WorkOrder, person: Person | None, from_outside: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.working_here()
        team: TeamField = self.fields["people"]  # type: ignore[assignment]
        team.skill_ids = frozenset(order.skills.values_list("skill_id", flat=True))
        team.day = clock.today(order.kiln.mill.zone)
        team.queryset = people.prefetch_related("qualifications__skill")
        given = [assignment.person for assignment in order.assignments.select_related("person")]
        self.fields["people"].initial = given or ([person] if person else [])
        self.fields["version"].initial = order.version
        if from_outside and order.sheet and order.sheet.is_proof_test:
            self.fields["stays_outside"].queryset = may_watch_outside(team.day)  # type: ignore[attr-defined]
        else:
            del self.fields["stays_outside"]
        if from_outside:
            self.fields["locked_out_outside_by"].queryset = may_lock_out(team.day)  # type: ignore[attr-defined]
            self.fields["locked_out_outside_by"].required = True
            self.fields["locked_out_outside_by"].help_text = _(
                "The main door is held open. Nobody steps in but to try what was mended, with a second person outside."
            )
        else:
            del self.fields["locked_out_outside_by"]
        if from_outside or not takes_people_inside(order):
            del self.fields["is_own_lock_on"]


class StepForm(forms.Form):
    """Enter a step."""

    key = KeyField()
    reading = MeasureField(required=False)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, step: WorkStep, mill: Mill, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": f"step-{step.no}-%s", **kwargs})
        if step.reading_name:
            scale = reading_scale(step.reading_unit, mill)
            label = f"{step.reading_name}, {scale.unit}" if scale.unit else step.reading_name
            self.fields["reading"] = InUnitField(scale=scale, label=label, required=False)
            # Not required by the form, so that a step can be called not done; but nobody should leave it out.
            self.fields["reading"].is_asked = True  # type: ignore[attr-defined]
        else:
            del self.fields["reading"]


class LabourForm(forms.Form):
    """Enter time."""

    key = KeyField()
    person = forms.ModelChoiceField(Person.objects.working_here(), label=_("Who"))
    minutes = forms.IntegerField(
        label=_("Minutes"), min_value=-1440, max_value=1440, help_text=_("Too much entered? Take it back with a minus.")
    )

    def __init__(self, *args: Any, person: Person | None, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "time-%s", **kwargs})
        self.fields["person"].initial = person


class PartForm(forms.Form):
    """Take a part."""

    key = KeyField()
    part = forms.ModelChoiceField(Part.objects.in_use(), label=_("Part"))
    quantity = MeasureField(
        label=_("How many"),
        min_value=Decimal("0.001"),
        error_messages={"min_value": _("Write how many were taken: more than 0.")},
    )
    take_from = TakenFrom()
    why = forms.CharField(max_length=120, required=False, label=_("Why it is taken all the same"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "part-%s", **kwargs})
        self.fields["take_from"].offer_again(self.data)  # type: ignore[attr-defined]
        if "why" not in self.data:
            del self.fields["take_from"], self.fields["why"]

    def ask(self, refusal: forms.ValidationError) -> None:
        """Ask whom the part is taken from, where somebody may say so."""
        if isinstance(refusal, TakesFromOthers) and refusal.may_confirm:
            self.fields["take_from"] = TakenFrom()
            self.fields["take_from"].choices = list(refusal.sources.items())  # type: ignore[attr-defined]
            self.fields["why"] = type(self).base_fields["why"]


class FinishForm(forms.Form):
    """Call a job done."""

    version = VersionField()
    result = forms.CharField(label=_("What was done"), widget=forms.Textarea(attrs={"rows": 3}), required=False)

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = order.version
        suspects = suspected_modes(order)
        if suspects is not None:
            self.fields["found"] = FoundField(suspects)
            self.order_fields(["version", "found", "result"])

    def said_found(self) -> dict[str, Any]:
        """Return what was found, as the action takes it."""
        found = self.cleaned_data.get("found") or ""
        mode = FailureMode.objects.filter(code=found).first() if found else None
        return {"found": mode, "found_nothing": found == NOTHING}


class FoundField(forms.ChoiceField):
    """What was behind what a watch had seen: the suspects first."""

    def __init__(self, suspects: list[FailureMode]) -> None:
        choices = [
            ("", _("not said")),
            *((mode.code, mode.name) for mode in suspects),
            (NOTHING, _("nothing was wrong")),
        ]
        super().__init__(
            choices=choices,
            label=_("What was it?"),
            required=False,
            help_text=_("It says whether the watch was right, and is remembered for the next time."),
        )


def suspected_modes(order: WorkOrder) -> list[FailureMode] | None:
    """Return the failure modes of the component that a watch suspects; None where no watch raised the work."""
    firing = order.firings.select_related("watch").order_by("begin_at").first()
    if firing is None or order.defect_id:
        return None
    ranked = [suspect["code"] for suspect in firing.suspects]
    kind = order.component.kind_id if order.component else firing.watch.component_kind_id
    modes = FailureMode.objects.filter(Q(code__in=ranked) | Q(kind=kind))
    return sorted(modes, key=lambda mode: (ranked.index(mode.code) if mode.code in ranked else len(ranked), mode.name))


class ProofForm(FinishForm):
    """Call a proof test done."""

    key = KeyField()
    outcome = forms.ChoiceField(label=_("Outcome"), choices=ProofTest.Outcome.choices, widget=forms.RadioSelect)
    component = forms.ModelChoiceField(Component.objects.none(), label=_("Tested"))
    seal_no = forms.CharField(
        label=_("Number of the new seal"),
        max_length=40,
        required=False,
        help_text=_("Needed when it passed. Where nothing is sealed: the number of the tag or record."),
    )
    tested_by = forms.ModelChoiceField(Person.objects.none(), label=_("Tested by"))
    next_due_on = Day(label=_("Next test due"), required=False, help_text=_("After a failed test it is due at once."))
    proof_note = forms.CharField(
        label=_("What failed, or a note"), widget=forms.Textarea(attrs={"rows": 2}), required=False
    )
    field_order = ["outcome", "component", "seal_no", "tested_by", "next_due_on", "proof_note", "result"]

    def __init__(self, *args: Any, order: WorkOrder, person: Person | None, **kwargs: Any) -> None:
        super().__init__(*args, order=order, **kwargs)
        if order.component:
            del self.fields["component"]
        else:
            kind = order.sheet.kind_id if order.sheet else None
            choices = Component.objects.in_use().filter(kiln=order.kiln_id)
            same = choices.filter(kind=kind)
            self.fields["component"].queryset = same if same.exists() else choices  # type: ignore[attr-defined]
        able = testers(order)
        self.fields["tested_by"].queryset = able  # type: ignore[attr-defined]
        self.fields["tested_by"].initial = person if person in able else None
        self.fields["tested_by"].help_text = _("Of the team on record, with the skill of the test valid today.")
        self.fields["next_due_on"].initial = next_proof_on(order, clock.today(order.kiln.mill.zone))

    def clean(self) -> dict[str, Any]:
        """Say beside the field what is missing."""
        said = super().clean() or self.cleaned_data
        if said.get("outcome") == ProofTest.Outcome.PASSED and not said.get("seal_no"):
            self.add_error("seal_no", _("Enter the number of the new seal."))
        if said.get("outcome") == ProofTest.Outcome.FAILED and not said.get("proof_note"):
            self.add_error("proof_note", _("Say what failed: others must know before they mend it."))
        return said

    def answers(self) -> ProofAnswers:
        """Return what the test gave."""
        said = self.cleaned_data
        return ProofAnswers(
            key=said["key"],
            outcome=said["outcome"],
            tested_by=said["tested_by"],
            seal_no=said["seal_no"],
            next_due_on=said["next_due_on"],
            note=said["proof_note"],
            component=said.get("component"),
        )


class SignOffForm(forms.Form):
    """Accept finished work."""

    version = VersionField()
    is_proved = TickField(
        _("The escape door was tried from inside, main door held open, second person outside: it opened each time.")
    )
    note = forms.CharField(label=_("Note"), required=False)

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "sign-off-%s", **kwargs})
        self.fields["version"].initial = order.version
        lifted = what_it_lifts(order)
        if not lifted:
            del self.fields["is_proved"]
        else:
            self.fields["is_proved"].help_text = _("Signing this lifts what bars entry: %(what)s.") % {
                "what": "; ".join(lifted)
            }


class WhyForm(forms.Form):
    """Give a reason."""

    version = VersionField()
    why = forms.CharField(label=_("Why"), max_length=200)

    def __init__(self, *args: Any, version: int | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = version


class WithdrawForm(WhyForm):
    """Give a job up."""

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, version=order.version, **kwargs)
        if order.firings.exists():
            self.fields["found_nothing"] = TickField(
                label=_("Somebody looked, and nothing was wrong"),
                required=False,
                help_text=_("Then the watch that raised it was mistaken, and that is remembered."),
            )


class StopForm(forms.Form):
    """Say that the kiln stood or was slowed for a job."""

    kind = forms.ChoiceField(
        label=_("The stop was"),
        choices=[(kind.value, kind.label) for kind in (Downtime.Kind.PLANNED, Downtime.Kind.UNPLANNED)],
    )
    start_at = Moment(label=_("From"))
    end_at = Moment(label=_("Until"), required=False, help_text=_("Leave it empty while the kiln is still stopped."))
    percent_lost = forms.IntegerField(
        label=_("Capacity lost in %"), min_value=1, max_value=100, initial=100, help_text=_("100 where it was stopped.")
    )


class StopChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    """One of a kiln's stops, told by its kind and its begin."""

    def label_from_instance(self, stop: Any) -> str:
        """Say of what kind it is and since when it lasts."""
        begun = date_format(localtime(stop.start_at), "D j M Y, H:i")
        return gettext("%(kind)s, since %(at)s") % {"kind": stop.get_kind_display(), "at": begun}


class StopEndedForm(forms.Form):
    """Say which stop a job ended."""

    downtime = StopChoice(Downtime.objects.none(), label=_("Stop"))
    end_at = Moment(label=_("Ended"), required=False, help_text=_("Empty: now."))

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "ended-%s", **kwargs})
        self.fields["downtime"].queryset = Downtime.objects.still_open().filter(kiln=order.kiln_id)  # type: ignore[attr-defined]


class AskForm(forms.Form):
    """Ask for work on a kiln."""

    title = forms.CharField(label=_("What is to be done"), max_length=160)
    component = forms.ModelChoiceField(
        Component.objects.none(), label=_("Where"), required=False, empty_label=_("the kiln")
    )
    sheet = forms.ModelChoiceField(
        TaskSheet.objects.none(),
        label=_("Task sheet"),
        required=False,
        empty_label=_("none"),
        help_text=_("Brings its steps, skills, parts and cautions."),
    )
    needs_state = forms.ChoiceField(
        label=_("Needs the kiln"), choices=[("", _("as on the task sheet")), *NeedsState.choices], required=False
    )
    hours = MeasureField(label=_("Hours"), required=False, min_value=Decimal("0.1"), max_value=Decimal(500))
    crew = forms.IntegerField(label=_("People"), required=False, min_value=1, max_value=20)
    due_on = Day(label=_("Due"))
    is_safety = forms.BooleanField(label=_("Safety work"), required=False)
    cost_of_delay_per_day = MeasureField(
        label=_("Cost of delay per day"),
        required=False,
        decimal_places=2,
        min_value=0,
        help_text=_("What each day costs that it is not done."),
    )
    why = forms.CharField(label=_("Why"), widget=forms.Textarea(attrs={"rows": 2}), required=False)

    def __init__(self, *args: Any, kiln: Kiln, mill: Mill, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.mill = mill
        self.fields["component"].queryset = Component.objects.in_use().filter(kiln=kiln)  # type: ignore[attr-defined]
        fitting = TaskSheet.objects.in_use().filter(kind__components__kiln=kiln, kind__components__is_active=True)
        self.fields["sheet"].queryset = fitting.distinct()  # type: ignore[attr-defined]
        self.fields["due_on"].initial = clock.today(mill.zone)

    def clean_due_on(self) -> date:
        """Refuse a day that is over: nobody can ask for work by then."""
        due_on: date = self.cleaned_data["due_on"]
        if due_on < clock.today(self.mill.zone):
            raise forms.ValidationError(_("This day is over. By when is it wanted from now on?"))
        return due_on

    def clean(self) -> dict[str, Any]:
        """Ask for hours and state where no task sheet brings them."""
        said = super().clean() or self.cleaned_data
        if not said.get("sheet"):
            if not said.get("hours"):
                self.add_error("hours", _("Say how many hours it takes, or choose a task sheet."))
            if not said.get("needs_state"):
                self.add_error("needs_state", _("Say in which state the kiln must be, or choose a task sheet."))
        return said

    @property
    def due_at(self) -> datetime:
        """Return the evening of the day it is due, as an instant."""
        return datetime.combine(self.cleaned_data["due_on"], time(18), tzinfo=self.mill.zone)
