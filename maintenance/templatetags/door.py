"""What everybody who goes into a chamber is told at its door."""

from typing import Any

from django import template

from maintenance.entry_bars import door_words_of
from plant.models import Kiln

register = template.Library()


@register.inclusion_tag("maintenance/_door_words.html", takes_context=True)
def door_words(context: dict[str, Any], kiln: Kiln) -> dict[str, Any]:
    """{% door_words kiln %}: overdue proof tests of ways out, and who was let in despite a bar, by name and time."""
    return {"words": door_words_of(kiln), "user": context.get("user")}
