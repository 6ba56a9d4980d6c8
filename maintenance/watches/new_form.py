"""A watch of one's own from nothing: first on which kiln and by which rule it looks at what, then its numbers."""

from collections.abc import Iterable
from typing import Any, Final

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from maintenance.models import TaskSheet, Watch
from maintenance.watches.calculations.drift_charts import Drift
from maintenance.watches.calculations.rows import Rule, WatchSpec
from maintenance.watches.calculations.rule_kinds import (
    Disagreement,
    KOfN,
    Limit,
    Message,
    NoData,
    RateOfChange,
    RunningSince,
)
from maintenance.watches.calculations.trends import Trend
from maintenance.watches.forms import OwnWatchForm
from maintenance.watches.specs import channel_keys
from maintenance.watches.words import signal_words
from plant.models import Component, Kiln
from plant.readings.calculations.charge_figures import FIGURES, figure_places
from plant.readings.calculations.climate_signals import DIFFERENCE, SIGNALS, places_of

RULE_WORDS: Final[dict[str, Any]] = {
    "limit": gettext_lazy("a value beyond a limit for a while"),
    "k_of_n": gettext_lazy("several of the last readings beyond a limit"),
    "disagreement": gettext_lazy("two values apart for a while"),
    "rate_of_change": gettext_lazy("a value that changes too fast"),
    "no_data": gettext_lazy("a sensor that is silent"),
    "message": gettext_lazy("a message of the controller"),
    "running_since": gettext_lazy("running hours or charges since the last work"),
    "drift": gettext_lazy("a figure of charges that drifts away from what is usual"),
    "trend": gettext_lazy("a figure of charges that will cross a limit"),
}
# What the fields of the rule begin with; whoever makes the watch knows better.
BEGINNINGS: Final[dict[str, Rule]] = {
    "limit": Limit("above", 10, 8, hold_minutes=30),
    "k_of_n": KOfN("above", 10, 3, 5),
    "disagreement": Disagreement(3, 2, hold_minutes=30),
    "rate_of_change": RateOfChange("rise", 30, 20),
    "no_data": NoData(60),
    "message": Message((1,)),
    "running_since": RunningSince(hours=1000),
    "drift": Drift("cusum"),
    "trend": Trend("above", 10),
}


class WhatForm(forms.Form):
    """On which kiln, by which rule, and at what it looks; each choice opens the next."""

    kiln = forms.ModelChoiceField(
        label=gettext_lazy("Kiln"),
        queryset=Kiln.objects.in_use().filter(channels__is_active=True).distinct(),
        to_field_name="tag",
        empty_label=None,
    )
    rule = forms.ChoiceField(label=gettext_lazy("It looks for"), choices=list(RULE_WORDS.items()))
    signal = forms.ChoiceField(label=gettext_lazy("Looks at"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kiln = self.fields["kiln"].queryset.filter(tag=self.data.get("kiln", "")).first()  # type: ignore[attr-defined]
        rule = self.data.get("rule", "")
        if kiln is None or rule not in RULE_WORDS:
            del self.fields["signal"]
            return
        self.fields["signal"].choices = signal_choices(channel_keys(kiln), rule)  # type: ignore[attr-defined]

    @property
    def is_complete(self) -> bool:
        """Say whether the numbers can be asked for."""
        return self.is_valid() and bool(self.cleaned_data.get("signal"))

    @property
    def spec(self) -> WatchSpec:
        """Return a watch with the numbers that the form begins with."""
        chosen = self.cleaned_data
        return WatchSpec(code="own", name="own", signal=chosen["signal"], rule=BEGINNINGS[chosen["rule"]])


def signal_choices(keys: Iterable[str], rule: str) -> list[Any]:
    """Return what a kiln with such channels can be watched for by a rule: readings, what follows from them, figures."""
    known = frozenset(keys)
    if rule in ("drift", "trend"):
        return [_choice(code, is_figure=True) for code in _placed(FIGURES, known, figure_places)]
    readings = sorted(known)
    if rule == "message":
        return [_choice(key) for key in readings if key.partition(":")[0] == "message"]
    if rule == "running_since":
        return [_choice(key) for key in readings]
    lefts = [key for key in readings if key.endswith(":left")]
    sides = [(key, f"{key.removesuffix('left')}right") for key in lefts]
    pairs = [f"{left}{DIFFERENCE}{right}" for left, right in sides if right in known]
    worked_out = [*pairs, *_placed(SIGNALS, known, places_of)]
    return [
        (_("Readings"), [_choice(key) for key in readings]),
        (_("Worked out from them"), [_choice(code) for code in worked_out]),
    ]


def _placed(codes: Iterable[str], keys: frozenset[str], places: Any) -> list[str]:
    return [f"{code}:{place}" if place else code for code in codes for place in places(code, keys)]


def _choice(code: str, *, is_figure: bool = False) -> tuple[str, str]:
    return code, signal_words(code, is_figure=is_figure)


class NewWatchForm(OwnWatchForm):
    """The numbers of a new watch, whom it suspects, and what comes of it."""

    component = forms.ModelChoiceField(
        label=gettext_lazy("Suspects"), queryset=Component.objects.none(), to_field_name="tag", empty_label=None
    )
    sheet = forms.ModelChoiceField(
        label=gettext_lazy("Task sheet"),
        queryset=TaskSheet.objects.in_use().order_by("title"),
        to_field_name="code",
        required=False,
        empty_label=gettext_lazy("none"),
    )
    field_order = ("name", "component", "sentence", "severity", "sheet", "phases", "due_days")

    def __init__(self, *args: Any, kiln: Kiln, **kwargs: Any) -> None:
        super().__init__(*args, mill=kiln.mill, **kwargs)
        self.kiln = kiln
        self.fields["component"].queryset = kiln.components.in_use().select_related("kind").order_by("tag")  # type: ignore[attr-defined]
        self.fields["component"].label_from_instance = lambda one: one.name  # type: ignore[attr-defined]
        self.fields["due_days"].initial = 7

    def kin(self) -> QuerySet[Watch]:
        """Return the watches of its kiln."""
        return Watch.objects.filter(kiln=self.kiln)
