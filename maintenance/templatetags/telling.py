"""Who could not be told that a place changed, for the planner's pages."""

from typing import Any

from django import template

from maintenance.telling import places_told as telling
from plant import clock

register = template.Library()


@register.inclusion_tag("telling/_not_told.html", takes_context=True)
def not_told(context: dict[str, Any]) -> dict[str, Any]:
    """List them, for who gives out work."""
    user = context["request"].user
    return {"untold": telling.not_told(clock.now()) if user.may("place work") else []}
