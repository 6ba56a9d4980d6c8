"""Where a plan says why a job lies where it lies."""

from django import template
from django.urls import reverse

from maintenance.models import Plan

register = template.Library()


@register.simple_tag
def why_url(plan: Plan | None, number: str) -> str:
    """Return the address of why a job lies there: in a plan, or on record."""
    if not plan:
        return reverse("maintenance:job-why", args=[number])
    return reverse("maintenance:plan-why", args=[plan.pk, number])
