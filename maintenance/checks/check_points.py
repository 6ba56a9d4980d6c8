"""Which points of the catalogue a function check of a kiln looks at, and what stands in for what cannot be seen."""

from collections import defaultdict

from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils.translation import gettext as _

from maintenance.models import CheckItem, CheckPoint, FunctionCheck
from plant.models import Component, Kiln

# Kinds that every kiln has, whether or not somebody wrote a component for them.
EVERY_KILN_HAS = frozenset(
    {"chamber-cleanliness", "control-room", "crew", "floor-and-drain", "lock-out-point", "stack-space", "walkway"}
)
# In a kiln that reverses these are asked even where no sensor is on record: that is what they look for.
REVERSING_KILN_ASKS = frozenset({"thermometers-both-sides", "humidity-sensors-both-sides"})
ONLY_WHERE_REVERSING = frozenset({"fan-reversal-time"})


def items_for(check: FunctionCheck) -> list[CheckItem]:
    """Return the unsaved items of a new check: one for each point and component, or for each point of the kiln.

    Raises ValidationError for a kiln without components: there would be nothing to look at.
    """
    kiln = check.kiln
    by_kind: dict[int, list[Component]] = defaultdict(list)
    for component in Component.objects.in_use().filter(kiln=kiln):
        by_kind[component.kind_id].append(component)
    if not by_kind:
        raise ValidationError(
            _("%(kiln)s has no components on record, so there is nothing to look at. Load its components first.")
            % {"kiln": kiln},
            code="no_components",
        )
    items = []
    asked = Q(withdrawn_at__isnull=True) | Q(withdrawn_at__gt=check.started_at)
    for point in CheckPoint.objects.filter(asked).select_related("kind"):
        components = by_kind.get(point.kind_id, [])
        if point.per == CheckPoint.Per.COMPONENT:
            items += [
                CheckItem(check_up=check, point=point, point_version=point.version, component=component)
                for component in components
            ]
        elif _is_asked(point, kiln, bool(components)):
            items.append(CheckItem(check_up=check, point=point, point_version=point.version))
    return items


def _is_asked(point: CheckPoint, kiln: Kiln, has_component: bool) -> bool:
    if point.code in ONLY_WHERE_REVERSING and not kiln.is_reversing:
        return False
    if kiln.is_reversing and point.code in REVERSING_KILN_ASKS:
        return True
    return has_component or point.kind.code in EVERY_KILN_HAS


def substitutes_of(item: CheckItem) -> list[CheckItem]:
    """Return the items of the same check that stand in for a point that could not be seen; none is made here.

    A substitute of the same kind looks at the same component; one of another kind (the outer skin for the inner) at all
    components of that kind.
    """
    point = item.point
    if point.substitute is None:
        return []
    found = CheckItem.objects.filter(check_up=item.check_up_id, point=point.substitute)
    if point.substitute.kind_id == point.kind_id:
        found = found.filter(component=item.component_id)
    return list(found)


def ensure_substitutes(item: CheckItem) -> list[CheckItem]:
    """Return the substitutes of a point that could not be seen, made where the check lacks them."""
    substitute = item.point.substitute
    if substitute is None:
        return []
    present = substitutes_of(item)
    if present:
        return present
    component = item.component if substitute.kind_id == item.point.kind_id else None
    made = CheckItem.objects.create(
        check_up=item.check_up,
        point=substitute,
        point_version=substitute.version,
        component=component,
        is_substitute=True,
    )
    return [made]
