"""The record of who changed what, when, and what was there before."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from plant import clock
from plant.basics.sentences import Sentence
from plant.fields import SentencesField
from plant.models.querysets import ChangeQuerySet

if TYPE_CHECKING:
    from plant.models.people import User


class Change(models.Model):
    """One entry of the history; the table refuses UPDATE and DELETE."""

    at = models.DateTimeField(_("when"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    subject_kind = models.CharField(max_length=40)
    subject_key = models.CharField(max_length=60)
    #: A code; "act.<code>" among the patterns has its words.
    act = models.CharField(_("what"), max_length=80)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    #: What somebody typed to it; until sentences were kept, also what the program said.
    note = models.TextField(_("note"), blank=True)
    #: What the program says to it. A column that was added later may be empty.
    said = SentencesField(null=True, default=None)

    objects = ChangeQuerySet.as_manager()

    class Meta:
        ordering = ["at", "id"]
        # Serves the history at the foot of a page.
        indexes = [models.Index(fields=["subject_kind", "subject_key", "at"], name="change_by_subject")]

    def __str__(self) -> str:
        return f"{self.subject_kind} {self.subject_key}: {self.act}"

    @property
    def did(self) -> str:
        """What was done, in words; what no version of this program calls so is said as it is kept."""
        from plant.frame.saying import patterns

        return str(patterns().get(f"act.{self.act}", self.act))

    @property
    def words(self) -> str:
        """What is said to it: what somebody typed, and what the program has to say."""
        from plant.frame.saying import say

        return " ".join(filter(None, (say(self.said), self.note)))

    @classmethod
    def record(
        cls,
        subject: models.Model,
        act: str,
        *,
        by: "User | None",
        before: dict[str, Any] | None = None,
        after: dict[str, Any] | None = None,
        note: str = "",
        said: Sentence | Iterable[Sentence] = (),
    ) -> "Change":
        """Add an entry about a saved object; ``by`` is None where the program itself did it.

        ``note`` is what somebody typed, ``said`` what the program has to say.
        """
        return cls.objects.create(
            at=clock.now(),
            by=by,
            subject_kind=subject._meta.label_lower,
            subject_key=str(subject.pk),
            act=act,
            before=before or {},
            after=after or {},
            note=note,
            said=said,
        )
