"""What lists of upkeep can be narrowed to."""

from typing import Any

import django_filters
from django import forms
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from maintenance.models import WorkOrder
from maintenance.models.querysets import WorkOrderQuerySet
from plant.models import Kiln, Person

TO_DO, ALL = "to_do", "all"
STATES = [(TO_DO, _("still to be done")), *WorkOrder.State.choices, (ALL, _("all"))]


class WorkOrderFilter(django_filters.FilterSet):  # type: ignore[misc]
    """Work orders by kiln, state, person and origin, or by words in number and title."""

    search = django_filters.CharFilter(
        label=_("Find"), method="by_words", widget=forms.TextInput(attrs={"type": "search"})
    )
    kiln = django_filters.ModelChoiceFilter(
        label=_("Kiln"), queryset=Kiln.objects.in_use(), to_field_name="tag", empty_label=_("all")
    )
    state = django_filters.ChoiceFilter(label=_("State"), choices=STATES, method="by_state", empty_label=None)
    person = django_filters.ModelChoiceFilter(
        label=_("Who"),
        queryset=Person.objects.working_here(),
        to_field_name="code",
        field_name="assignments__person",
        empty_label=_("all"),
    )
    origin = django_filters.ChoiceFilter(
        label=_("Origin"), choices=WorkOrder.Origin.choices, empty_label=_("all"), method="by_origin"
    )

    class Meta:
        model = WorkOrder
        fields: list[str] = []

    def by_words(self, queryset: WorkOrderQuerySet, name: str, value: str) -> Any:
        """Find words in the number, the title and the component."""
        for word in value.split():
            queryset = queryset.filter(
                Q(number__icontains=word) | Q(title__icontains=word) | Q(component__name__icontains=word)
            )
        return queryset

    def by_origin(self, found: WorkOrderQuerySet, name: str, value: str) -> WorkOrderQuerySet:
        """Keep what an origin asked for, first or joining later."""
        return found.asked_for_by(value)

    def by_state(self, queryset: WorkOrderQuerySet, name: str, value: str) -> Any:
        """Narrow to a state, to what is still to be done, or not at all."""
        if value == TO_DO:
            return queryset.unfinished()
        return queryset if value == ALL else queryset.filter(state=value)
