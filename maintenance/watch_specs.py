"""From the catalogue's watches to a kiln's own, and back: what suits its channels, and what each watch needs."""

import csv
from collections.abc import Collection, Iterable
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext as _

from maintenance.calculations.watch_rules import NoData
from maintenance.calculations.watch_set import ANY_PLACE, WatchSpec, for_kiln, parse_watches, rule_from
from maintenance.models import Watch
from plant.calculations.charge_figures import FIGURES
from plant.calculations.climate_signals import DIFFERENCE, SIGNALS
from plant.calculations.quantities import QUANTITIES
from plant.models import Channel, Kiln


def shipped_specs() -> tuple[WatchSpec, ...]:
    """Read the watches that ship with the product."""
    path = Path(settings.FIXTURES_DIR) / "catalogue" / "watches.csv"
    with path.open(encoding="utf-8", newline="") as stream:
        return parse_watches(csv.DictReader(stream))


def spec_of(watch: Watch) -> WatchSpec:
    """Return what a kiln's watch does. Raises ValueError where its numbers do not fit its rule."""
    return WatchSpec(
        code=watch.code,
        name=watch.name,
        signal=watch.signal,
        rule=rule_from(watch.rule, watch.parameters),
        phases=tuple(watch.phases),
        component_kind=watch.component_kind.code if watch.component_kind else "",
        failure_modes=tuple(watch.failure_modes),
        severity="notice" if watch.severity == Watch.Severity.NOTICE else "work_order",
        agrees_within_days=watch.agrees_within_days,
        task_sheet=watch.sheet.code if watch.sheet else "",
        sentence=watch.sentence,
        loss_kind=watch.loss_kind,
        due_days=watch.due_days,
        safety_days=watch.safety_days,
        source=watch.source,
        source_status=watch.source_status,
    )


def channel_keys(kiln: Kiln) -> frozenset[str]:
    """Return the keys of a kiln's channels that are in use."""
    return frozenset(channel.key for channel in Channel.objects.filter(kiln=kiln, is_active=True))


def needed_quantities(spec: WatchSpec) -> tuple[str, ...]:
    """Return the quantities without which a watch sees nothing; a quantity or, where it must be that one, a key."""
    found: list[str] = []
    for part in spec.signal.split(DIFFERENCE):
        stem, colon, place = part.partition(":")
        if stem in QUANTITIES:
            found.append(part.removesuffix(ANY_PLACE))
            continue
        known = FIGURES[stem] if spec.is_per_charge else SIGNALS[stem]
        per = (known.per,) if isinstance(known.per, str) else known.per
        found += [f"{one}:{place}" if colon and place != "*" else one for one in per if one]
        found += known.needs
    return tuple(dict.fromkeys(found))


def needed_keys(spec: WatchSpec, keys: Iterable[str]) -> frozenset[str]:
    """Return those of a kiln's channels that a watch looks at."""
    needs = needed_quantities(spec)
    return frozenset(key for key in keys if key in needs or key.partition(":")[0] in needs)


def is_about_silence(spec: WatchSpec) -> bool:
    """Say whether a watch fires because nothing comes: then it must look when nothing comes."""
    return not spec.is_per_charge and (isinstance(spec.rule, NoData) or not needed_quantities(spec))


def unsuited_why(spec: WatchSpec, keys: Collection[str], kiln: Kiln) -> str:
    """Say why a watch of the catalogue does not suit a kiln; empty where it does."""
    if spec.component_kind == "fan-reversal" and not kiln.is_reversing:
        return _("The fans of %(kiln)s do not reverse.") % {"kiln": kiln.tag}
    if for_kiln([spec], keys):
        return ""
    names = dict(Channel.Quantity.choices)
    measured = {key.partition(":")[0] for key in keys}
    missing = [one for one in needed_quantities(spec) if (one not in keys if ":" in one else one not in measured)]
    if not missing:
        return _("%(kiln)s is not measured at as many places as this takes.") % {"kiln": kiln.tag}
    words = [" ".join([str(names[one.partition(":")[0]]), one.partition(":")[2]]).strip() for one in missing]
    return _("%(kiln)s has no channel for: %(channels)s.") % {"kiln": kiln.tag, "channels": ", ".join(words)}
