"""Who is inside, on every page that asks: read once a request."""

from typing import Any

from django import template

from maintenance.entry.now import EntryNow, entry_now
from plant.models import Kiln

register = template.Library()


@register.inclusion_tag("door/_people_inside.html", takes_context=True)
def people_inside(context: dict[str, Any], kiln: Kiln) -> dict[str, Any]:
    """{% people_inside kiln %}: who is in a kiln, for how long, and who stays outside; nothing where it is shut."""
    return {"stand": _stands(context).get(kiln.pk), "user": context["user"], "mill": context.get("mill")}


@register.inclusion_tag("door/_open_chambers.html", takes_context=True)
def open_chambers(context: dict[str, Any]) -> dict[str, Any]:
    """{% open_chambers %}: of every chamber that is open; first where one stays outside oneself."""
    person = getattr(context["user"], "person", None)

    def concerns(stand: EntryNow) -> tuple[int, str]:
        is_own = stand.permit.locked_out_by == person or (person is not None and stand.is_inside(person))
        return (0 if stand.outside == person else 1 if is_own else 2, stand.permit.kiln.tag)

    stands = sorted(_stands(context).values(), key=concerns)
    rows = [(stand, person is not None and stand.outside == person) for stand in stands]
    return {"rows": rows, "user": context["user"], "mill": context.get("mill")}


def _stands(context: dict[str, Any]) -> dict[int, EntryNow]:
    request = context["request"]
    if not hasattr(request, "entry_now"):
        request.entry_now = entry_now()
    stands: dict[int, EntryNow] = request.entry_now
    return stands
