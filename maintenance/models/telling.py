"""What goes out to people: the address of their calendar, what each was last told of a place, and the mail about it."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from maintenance.models.querysets import TellingQuerySet
from maintenance.models.work import WorkOrder
from plant.models import Kiln, Mill, Person
from plant.models.tokens import SecretToken


class CalendarAddress(SecretToken):
    """A secret address under which a calendar fetches somebody's placed work; a person has at most one that works."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="calendar_addresses")

    class Meta:
        ordering = ["person", "-made_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["person"], condition=Q(revoked_at__isnull=True), name="calendar_address_one_works"
            )
        ]

    def __str__(self) -> str:
        return f"{self.person} ...{self.tail}"


class ToldPlace(models.Model):
    """The place of a job as one of its people knows it: what stands now is compared with it."""

    work_order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="told_places")
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="told_places")
    start_at = models.DateTimeField()
    end_at = models.DateTimeField()
    # The person was told that it does not hold.
    is_in_doubt = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["work_order", "person"], name="told_place_once"),
            models.CheckConstraint(condition=Q(end_at__gt=F("start_at")), name="told_place_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.work_order_id} {self.person_id} {self.start_at:%Y-%m-%d %H:%M}"


class ToldLockOut(models.Model):
    """When somebody knows that a kiln is to be locked out by them: what stands now is compared with it."""

    kiln = models.ForeignKey(Kiln, on_delete=models.CASCADE, related_name="+")
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="told_lock_outs")
    start_at = models.DateTimeField()
    end_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kiln", "person", "start_at"], name="told_lock_out_once"),
            models.CheckConstraint(condition=Q(end_at__gte=F("start_at")), name="told_lock_out_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.kiln_id} {self.person_id} {self.start_at:%Y-%m-%d %H:%M}"


class TellingLook(models.Model):
    """When places were last compared with what people know; before the first time nobody is told anything."""

    mill = models.OneToOneField(Mill, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M}"


class Telling(models.Model):
    """A mail to one person about places that changed at short notice; kept with the places, sent afterwards."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="tellings")
    made_at = models.DateTimeField(_("written"))
    subject = models.CharField(max_length=200)
    body = models.TextField()
    sent_at = models.DateTimeField(_("sent"), null=True, blank=True)
    sent_to = models.EmailField(_("sent to"), blank=True)
    # Somebody is sending it since then: nobody else does meanwhile.
    claimed_at = models.DateTimeField(null=True, blank=True)
    failure = models.CharField(_("why it could not be sent"), max_length=300, blank=True)

    objects = TellingQuerySet.as_manager()

    class Meta:
        ordering = ["made_at", "id"]
        # Serves "what is not sent yet?".
        indexes = [models.Index(fields=["sent_at", "made_at"], name="telling_by_sent")]

    def __str__(self) -> str:
        return f"{self.person_id} {self.made_at:%Y-%m-%d %H:%M}"
