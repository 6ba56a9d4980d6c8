"""What watches raised, in templates."""

from typing import Any

from django import template

from maintenance.models import Firing
from maintenance.watches.firing_picture import draw

register = template.Library()


@register.inclusion_tag("watches/_firing_picture.html")
def firing_picture(firing: Firing) -> dict[str, Any]:
    """{% firing_picture firing %}: the readings before and after it, with a table; link maintenance/firing.css."""
    return {"firing": firing, "picture": draw(firing)}
