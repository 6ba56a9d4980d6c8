"""What is said above every page while the demo is being filled."""

from collections.abc import Mapping
from typing import Any

from django import template
from django.conf import settings

from maintenance.demo.filling import seen_filling

register = template.Library()


@register.simple_tag
def demo_still_fills() -> bool:
    """{% demo_still_fills as still_fills %}: whether what a page lacks is still to come; no query elsewhere."""
    filling = seen_filling() if settings.SERVES_DEMO else None
    return filling is not None and not filling.has_failed


@register.inclusion_tag("demo/filling.html", takes_context=True)
def demo_filling(context: Mapping[str, Any]) -> dict[str, Any]:
    """{% demo_filling %}: how far it is, asked for anew by the page; nothing once it is over, no query elsewhere."""
    return {"filling": seen_filling() if settings.SERVES_DEMO else None, "user": context.get("user")}
