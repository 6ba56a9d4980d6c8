"""People, what they may do in the mill, when they are there, and what they may do in this program."""

from collections.abc import Collection
from datetime import date, timedelta
from functools import cached_property

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.access import Role, may
from plant.models.querysets import PersonQuerySet


class Skill(models.Model):
    """Something a person must be able or licensed to do."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=80)
    is_licensed_trade = models.BooleanField(_("licensed trade"), default=False)
    source = models.CharField(_("source"), max_length=300, blank=True)
    source_status = models.CharField(_("how sure"), max_length=120, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Person(models.Model):
    """Somebody who works at the mill."""

    code = models.SlugField(_("code"), max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=80)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    is_active = models.BooleanField(_("works here"), default=True)

    objects = PersonQuerySet.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the person's page."""
        return reverse("plant:person", args=[self.code])


class Qualification(models.Model):
    """A person's skill and the last day on which it counts."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="qualifications")
    skill = models.ForeignKey(Skill, on_delete=models.PROTECT, related_name="qualifications")
    valid_until = models.DateField(_("valid until"), null=True, blank=True)

    class Meta:
        ordering = ["person", "skill"]
        constraints = [models.UniqueConstraint(fields=["person", "skill"], name="qualification_once")]

    def __str__(self) -> str:
        return f"{self.person}: {self.skill}"

    def is_valid_on(self, day: date) -> bool:
        """Say whether it counts on a day."""
        return self.valid_until is None or day <= self.valid_until


class Shift(models.Model):
    """A working time that recurs on weekdays, in the mill's local time; one that ends before it starts ends next day."""

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=60)
    weekdays = models.CharField(_("weekdays"), max_length=30, help_text=_("For example MO,TU,WE,TH,FR"))
    start_time = models.TimeField(_("start"))
    end_time = models.TimeField(_("end"))
    overtime_minutes = models.PositiveIntegerField(_("most overtime in minutes"), default=120)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class DayOff(models.Model):
    """A day on which no shift begins: a holiday of the mill."""

    on = models.DateField(_("day"), unique=True, error_messages={"unique": _("This day is a day off already.")})
    name = models.CharField(_("name"), max_length=60)

    class Meta:
        ordering = ["on"]

    def __str__(self) -> str:
        return f"{self.name} {self.on}"

    @classmethod
    def between(cls, first_on: date, last_on: date) -> set[date]:
        """Return the days off of some days, both ends among them."""
        return set(cls.objects.filter(on__range=(first_on, last_on)).values_list("on", flat=True))


#: As shifts name them.
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


class ShiftDuty(models.Model):
    """A person's turn on a shift; one of every so many weeks begins in the week of its first day."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="duties")
    shift = models.ForeignKey(Shift, on_delete=models.PROTECT, related_name="duties")
    from_on = models.DateField(_("from"))
    until_on = models.DateField(_("until"), null=True, blank=True)
    every_weeks = models.PositiveSmallIntegerField(_("every so many weeks"), default=1)

    class Meta:
        ordering = ["person", "from_on"]
        constraints = [
            models.CheckConstraint(condition=Q(every_weeks__gte=1), name="duty_recurs"),
            models.UniqueConstraint(fields=["person", "shift", "from_on"], name="duty_once"),
            models.CheckConstraint(
                condition=Q(until_on__isnull=True) | Q(until_on__gte=F("from_on")), name="duty_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.shift}"

    def begins_on(self, on: date, days_off: Collection[date]) -> bool:
        """Say whether the shift begins for this person on a day: the one answer for pictures and for plans."""
        if on in days_off or on < self.from_on or (self.until_on is not None and on > self.until_on):
            return False
        weeks = (_monday(on) - _monday(self.from_on)).days // 7
        return weeks % self.every_weeks == 0 and WEEKDAYS[on.weekday()] in self.shift.weekdays


def _monday(on: date) -> date:
    return on - timedelta(days=on.weekday())


class Absence(models.Model):
    """A time in which a person is not there."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="absences")
    start_at = models.DateTimeField(_("from"))
    end_at = models.DateTimeField(_("until"))
    reason = models.CharField(_("reason"), max_length=80, blank=True)

    class Meta:
        ordering = ["start_at"]
        constraints = [models.CheckConstraint(condition=Q(end_at__gt=F("start_at")), name="absence_in_order")]

    def __str__(self) -> str:
        return f"{self.person} {self.start_at:%Y-%m-%d}"


class User(AbstractUser):
    """Somebody who signs in."""

    person = models.OneToOneField(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="user")
    has_first_password = models.BooleanField(
        _("has a first password"),
        default=False,
        help_text=_("Somebody else chose it and knows it: it must be changed before anything else."),
    )
    known_pages = models.JSONField(
        _("pages that are known"),
        default=list,
        help_text=_("Names of pages whose purpose this person has folded away."),
    )

    def __str__(self) -> str:
        return self.person.name if self.person else self.username

    @cached_property
    def roles(self) -> frozenset[Role]:
        """Return the roles held; one query a request."""
        return frozenset(Role(held.role) for held in self.roles_held.all())

    def may(self, act: str) -> bool:
        """Say whether one of the user's roles allows an act of the table of access."""
        return self.is_active and may(self.roles, act)


class RoleHeld(models.Model):
    """A role that a user holds."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="roles_held")
    role = models.CharField(_("role"), max_length=16, choices=Role.choices)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "role"], name="role_once"),
            models.CheckConstraint(condition=Q(role__in=Role.values), name="role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.user_id} {self.role}"
