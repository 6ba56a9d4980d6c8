"""Changes of the mill's settings."""

from typing import Any

from django.db import transaction

from plant.access import require
from plant.frame.particulars import refuse_stale, save_changed
from plant.models import Mill, User


@transaction.atomic
def edit_mill(mill: Mill, values: dict[str, Any], *, seen: str, by: User | None) -> Mill:
    """Change the mill's settings unless somebody else changed them since the form was opened."""
    require(by, "edit mill")
    mill = Mill.objects.select_for_update().get(pk=mill.pk)
    refuse_stale(mill, values, seen)
    save_changed(mill, values, "settings changed", by=by)
    return mill
