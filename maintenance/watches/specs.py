"""From the catalogue's watches to a kiln's own, and back: what suits its channels, and what each watch needs."""

import csv
from collections.abc import Collection, Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings
from django.utils.translation import gettext as _

from maintenance.models import Watch
from maintenance.watches.calculations.rows import ANY_PLACE, WatchSpec, for_kiln, parse_watches, rule_from
from maintenance.watches.calculations.rule_kinds import NoData
from plant.models import Channel, Kiln
from plant.physics.quantities import QUANTITIES
from plant.readings.calculations.charge_figures import FIGURES
from plant.readings.calculations.climate_frame import Frame, Values
from plant.readings.calculations.climate_signals import DIFFERENCE, SIGNALS, signal_values
from plant.readings.calculations.climate_view import View


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


def used_keys(spec: WatchSpec, keys: Iterable[str]) -> frozenset[str]:
    """Return those of a kiln's channels whose readings bear upon what a watch on moments sees."""
    return _used_by(spec.signal, frozenset(keys))


@lru_cache(maxsize=4096)
def _used_by(signal: str, keys: frozenset[str]) -> frozenset[str]:
    """Find out by computing the signal once, without readings, and noting what it asks for."""
    noted = _Noted({key: np.full(3, np.nan) for key in keys})
    with np.errstate(all="ignore"):
        signal_values(signal, View(Frame(0, 60, noted, np.zeros(3, np.int8))))
    return frozenset(noted.asked)


class _Noted(dict[str, Values]):
    """Channels that note which of them are asked for; whoever goes through the values asks for all."""

    def __init__(self, channels: Mapping[str, Values]) -> None:
        super().__init__(channels)
        self.asked: set[str] = set()

    def __getitem__(self, key: str) -> Values:
        self.asked.add(key)
        return super().__getitem__(key)

    def __contains__(self, key: object) -> bool:
        is_there = super().__contains__(key)
        if is_there:
            self.asked.add(str(key))
        return is_there

    def get(self, key: str, default: Any = None) -> Any:
        """Note the key where it is there."""
        if key in self:
            return super().__getitem__(key)
        return default

    def values(self) -> Any:
        """Note all of them."""
        self.asked.update(self)
        return super().values()

    def items(self) -> Any:
        """Note all of them."""
        self.asked.update(self)
        return super().items()


def is_about_silence(spec: WatchSpec) -> bool:
    """Say whether a watch fires because nothing comes: then it must look when nothing comes."""
    return not spec.is_per_charge and (isinstance(spec.rule, NoData) or not needed_quantities(spec))


def unsuited_why(spec: WatchSpec, keys: Collection[str], kiln: Kiln) -> str:
    """Say why a watch of the catalogue does not suit a kiln; empty where it does."""
    if spec.component_kind == "fan-reversal" and not kiln.is_reversing:
        return _("The fans of %(kiln)s do not reverse.") % {"kiln": kiln.tag}
    if for_kiln([spec], keys):
        return ""
    measured = {key.partition(":")[0] for key in keys}
    missing = [one for one in needed_quantities(spec) if (one not in keys if ":" in one else one not in measured)]
    if not missing:
        return _("%(kiln)s is not measured at as many positions as this takes.") % {"kiln": kiln.tag}
    return _("%(kiln)s has no channel for: %(channels)s.") % {"kiln": kiln.tag, "channels": channel_words(missing)}


def channel_words(keys: Iterable[str]) -> str:
    """Name quantities, or keys of channels, with a comma between them; a key names its quantity with it."""
    names = dict(Channel.Quantity.choices)
    parts = [key.partition(":") for key in keys]
    placed = {quantity for quantity, _colon, place in parts if place}
    parts = [part for part in parts if part[2] or part[0] not in placed]
    return ", ".join(" ".join([str(names[quantity]), place]).strip() for quantity, _colon, place in parts)
