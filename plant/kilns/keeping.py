"""Changes of a kiln's particulars."""

from typing import Any

from django.db import transaction

from plant.access import require
from plant.frame.particulars import refuse_stale, save_changed
from plant.models import Kiln, User


@transaction.atomic
def edit_kiln(kiln: Kiln, values: dict[str, Any], *, seen: str, by: User | None) -> Kiln:
    """Change a kiln's particulars unless somebody else changed them since the form was opened."""
    require(by, "edit kilns")
    kiln = Kiln.objects.select_for_update().get(pk=kiln.pk)
    refuse_stale(kiln, values, seen)
    save_changed(kiln, values, "particulars changed", by=by)
    return kiln
