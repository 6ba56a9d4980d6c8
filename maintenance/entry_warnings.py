"""What must be said of kilns because of entry: nobody may enter, somebody is inside."""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from maintenance.entry_bars import bars_to_entry
from plant.kiln_warnings import KilnWarning, WarningKind
from plant.models import Kiln


def entry_warnings() -> Iterable[KilnWarning]:
    """Say it for each kiln."""
    return bars_said()


def bars_said() -> Iterable[KilnWarning]:
    """Name what keeps everybody out of each chamber, all causes of one in a sentence."""
    for bars in bars_to_entry(Kiln.objects.all()).values():
        facts = {"kiln": bars[0].kiln_tag, "why": "; ".join(bar.what for bar in bars)}
        said = _("Nobody may enter %(kiln)s: %(why)s.") % facts
        yield KilnWarning(WarningKind.BARRED, bars[0].kiln_tag, _("no entry"), said, bars[0].url)
