"""What must be said of kilns because of entry: nobody may enter, somebody is inside."""

from collections.abc import Iterable

from django.urls import reverse
from django.utils.translation import gettext as _

from maintenance.models import Defect
from plant.kiln_warnings import KilnWarning, WarningKind


def entry_warnings() -> Iterable[KilnWarning]:
    """Say it for each kiln."""
    return bars_said()


def bars_said() -> Iterable[KilnWarning]:
    """Name what keeps everybody out of each chamber, all causes of one in a sentence."""
    causes: dict[str, list[str]] = {}
    for defect in Defect.objects.blocking_entry().select_related("kiln", "component__kiln").order_by("found_at"):
        where = defect.component.name if defect.component else ""
        causes.setdefault(defect.kiln.tag, []).append(f"{where}: {defect.what}" if where else defect.what)
    for tag, said in causes.items():
        yield KilnWarning(
            WarningKind.BARRED,
            tag,
            _("no entry"),
            _("Nobody may enter %(kiln)s: %(why)s.") % {"kiln": tag, "why": "; ".join(said)},
            f"{reverse('maintenance:defects')}?kiln={tag}",
        )
