"""What of the catalogue a mill may write itself, what it was before it was changed, and by which version work is done.

The row is the present version. What it was before stands in an earlier version, which is written when it is superseded;
a job, or a point of a check, names the version that it was raised by.
"""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from maintenance.models.querysets_of_versions import KeptQuerySet

if TYPE_CHECKING:
    from maintenance.models.checks import CheckItem
    from maintenance.models.work import WorkOrder

FIRST = 1
# The codes of what a mill writes itself begin so; the product ships none that does.
OWN = "own-"
# What whoever looks at a point is told of it.
SAID_OF_A_POINT = ("what", "method", "criterion", "substitute_when", "interval_text", "source", "source_status")


class Kept(models.Model):
    """A row of the catalogue: it ships with the product, or is the mill's own; it has versions and can be withdrawn."""

    is_own = models.BooleanField(_("the mill's own"), default=False)
    version = models.PositiveIntegerField(_("version"), default=FIRST)
    copied_from = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="copies", verbose_name=_("copied from")
    )
    # The version that was copied, or that was looked at last.
    copied_version = models.PositiveIntegerField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)
    withdrawn_why = models.CharField(_("why withdrawn"), max_length=200, blank=True)

    objects = KeptQuerySet.as_manager()

    class Meta:
        abstract = True

    @property
    def is_withdrawn(self) -> bool:
        """Say whether no new work comes from it."""
        return self.withdrawn_at is not None

    @property
    def has_news(self) -> bool:
        """Say whether what it was copied from has changed since it was copied or looked at."""
        return self.copied_from is not None and (self.copied_version or FIRST) < self.copied_from.version


class Earlier(models.Model):
    """A version that was superseded. The table refuses UPDATE and DELETE."""

    no = models.PositiveIntegerField(_("version"))
    content = models.JSONField()
    superseded_at = models.DateTimeField(_("until"))
    # Nobody: the product's catalogue brought another.
    superseded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    why = models.CharField(_("why it was changed"), max_length=200, blank=True)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.no}"


class SheetVersion(Earlier):
    """What a task sheet was before it was changed."""

    of = models.ForeignKey("maintenance.TaskSheet", on_delete=models.PROTECT, related_name="earlier")

    class Meta:
        ordering = ["of", "-no"]
        constraints = [models.UniqueConstraint(fields=["of", "no"], name="sheet_version_once")]


class PointVersion(Earlier):
    """What a check point was before it was changed."""

    of = models.ForeignKey("maintenance.CheckPoint", on_delete=models.PROTECT, related_name="earlier")

    class Meta:
        ordering = ["of", "-no"]
        constraints = [models.UniqueConstraint(fields=["of", "no"], name="point_version_once")]


def contents_as_raised(orders: "Iterable[WorkOrder]") -> dict[int, dict[str, Any]]:
    """Return order id -> its task sheet as it was when it was raised, where the sheet changed since; one query."""
    wanted = {one.pk: (one.sheet_id, one.sheet_version or FIRST) for one in orders if one.sheet_id is not None}
    if not wanted:
        return {}
    earlier = SheetVersion.objects.filter(of__in={of for of, _no in wanted.values()})
    known = {(of, no): content for of, no, content in earlier.values_list("of", "no", "content")}
    return {pk: known[version] for pk, version in wanted.items() if version in known}


def content_as_raised(order: "WorkOrder") -> dict[str, Any] | None:
    """Return a job's task sheet as it was when it was raised; None where that is the present version."""
    return contents_as_raised([order]).get(order.pk)


def purpose_of(order: "WorkOrder") -> str:
    """Return what a job is for, by the sheet that it was raised by."""
    if order.sheet is None:
        return ""
    earlier = content_as_raised(order)
    return str(earlier.get("purpose", "")) if earlier else order.sheet.purpose


def has_caution(order: "WorkOrder", code: str) -> bool:
    """Say whether a job's task sheet has a caution, now or as it was when the job was raised: never the laxer of both."""
    if order.sheet is None:
        return False
    earlier = content_as_raised(order)
    return bool(earlier and code in earlier.get("cautions", ())) or order.sheet.cautions.filter(code=code).exists()


def put_as_asked(items: "Iterable[CheckItem]") -> None:
    """Let the points of a check's items say what they said when the check began; one query where any was changed."""
    changed = [one for one in items if (one.point_version or FIRST) != one.point.version]
    if not changed:
        return
    versions = PointVersion.objects.filter(of__in={one.point_id for one in changed})
    known = {(of, no): content for of, no, content in versions.values_list("of", "no", "content")}
    for one in changed:
        content = known.get((one.point_id, one.point_version or FIRST), {})
        for name in SAID_OF_A_POINT:
            setattr(one.point, name, content.get(name, getattr(one.point, name)))
