"""That somebody was let into a chamber although a point that bars entry was worn or could not be seen."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from maintenance.models.checks import Finding


class LetIn(models.Model):
    """Why a chamber may be entered despite what was found at one point, or that this no longer holds.

    It speaks of one finding: the next finding at that point wants a word of its own. The table refuses UPDATE and
    DELETE; taking it back is a second entry that names the first.
    """

    class Act(models.TextChoices):
        LET_IN = "let_in", _("let in despite a bar")
        TAKEN_BACK = "taken_back", _("taken back")

    key = models.UUIDField(unique=True)
    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, related_name="let_ins")
    act = models.CharField(max_length=10, choices=Act.choices)
    first = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="taken_back")
    why = models.CharField(_("why"), max_length=300)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(act="let_in", first__isnull=True) | Q(act="taken_back", first__isnull=False),
                name="let_in_taken_back_names_the_first",
            ),
            models.CheckConstraint(condition=~Q(why=""), name="let_in_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.finding_id} {self.act} {self.at:%Y-%m-%d %H:%M}"
