"""Things of a small mill, each with values that a test may override."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import factory
from factory.django import DjangoModelFactory

from inventory.models import Bin, Part, PartKind, Supplier, SupplierTerms
from maintenance.models import CheckPoint, Defect, TaskSheet, WorkOrder, WorkStep
from plant.models import (
    Channel,
    Charge,
    Component,
    ComponentKind,
    Downtime,
    Kiln,
    Mill,
    Person,
    Phase,
    Qualification,
    ReadingSource,
    RoleHeld,
    Skill,
    User,
)

# A Monday in March; most tests stand in this morning.
MONDAY = datetime(2026, 3, 2, 6, tzinfo=UTC)


class MillFactory(DjangoModelFactory[Mill]):
    """The one mill."""

    class Meta:
        model = Mill
        django_get_or_create = ("name",)

    name = "Fallow Bridge Sawmill"
    time_zone = "Europe/Stockholm"


class KilnFactory(DjangoModelFactory[Kiln]):
    """A hot-water kiln of 60 m³."""

    class Meta:
        model = Kiln
        django_get_or_create = ("tag",)

    mill = factory.SubFactory(MillFactory)
    tag = "K1"
    usable_m3 = Decimal(60)
    heating_medium = Kiln.HeatingMedium.HOT_WATER
    humidifying = Kiln.Humidifying.WATER_SPRAY
    climate_sensing = Kiln.ClimateSensing.PSYCHROMETER


class ComponentKindFactory(DjangoModelFactory[ComponentKind]):
    """A kind of component: fans, unless said otherwise."""

    class Meta:
        model = ComponentKind
        django_get_or_create = ("code",)

    code = "fan"
    name = "Fan"
    group = ComponentKind.Group.AIR
    end_view_no = 5


class ComponentFactory(DjangoModelFactory[Component]):
    """Fan 3 of the kiln."""

    class Meta:
        model = Component
        django_get_or_create = ("kiln", "tag")

    kiln = factory.SubFactory(KilnFactory)
    kind = factory.SubFactory(ComponentKindFactory)
    tag = "fan-3"
    name = "fan 3"


class ChargeFactory(DjangoModelFactory[Charge]):
    """Five days of spruce with its phases, from ``begin_at`` on."""

    class Meta:
        model = Charge
        skip_postgeneration_save = True

    class Params:
        days = 5

    kiln = factory.SubFactory(KilnFactory)
    number = factory.Sequence(lambda n: f"C{n + 1}")
    species = "spruce"
    thickness_mm = 50
    volume_m3 = Decimal(55)
    begin_at = MONDAY
    end_at = factory.LazyAttribute(lambda o: o.begin_at + timedelta(days=o.days))
    planned_begin_at = factory.SelfAttribute("begin_at")
    planned_end_at = factory.SelfAttribute("end_at")

    @factory.post_generation
    def phases(self: Any, create: bool, extracted: Any, **kwargs: Any) -> None:
        """Split the charge: 2 h loading, 8 h heating up, drying, 10 h conditioning, 6 h cooling, 2 h unloading."""
        if not create:
            return
        hours = {"loading": 2, "heating_up": 8, "drying": None, "conditioning": 10, "cooling": 6, "unloading": 2}
        fixed_h = sum(length for length in hours.values() if length)
        total_h = (self.end_at - self.begin_at).total_seconds() / 3600
        at = self.begin_at
        for kind, length in hours.items():
            until = at + timedelta(hours=total_h - fixed_h if length is None else length)
            Phase.objects.create(
                charge=self, kind=kind, planned_begin_at=at, planned_end_at=until, begin_at=at, end_at=until
            )
            at = until


class DowntimeFactory(DjangoModelFactory[Downtime]):
    """An unplanned stop of six hours."""

    class Meta:
        model = Downtime

    kiln = factory.SubFactory(KilnFactory)
    kind = Downtime.Kind.UNPLANNED
    start_at = MONDAY
    end_at = factory.LazyAttribute(lambda o: o.start_at + timedelta(hours=6))
    cause = "fan 3 bearing"


class SkillFactory(DjangoModelFactory[Skill]):
    """Mechanical work."""

    class Meta:
        model = Skill
        django_get_or_create = ("code",)

    code = "mechanical"
    name = factory.LazyAttribute(lambda o: o.code.replace("-", " "))


class PersonFactory(DjangoModelFactory[Person]):
    """Oda, who works at the mill."""

    class Meta:
        model = Person
        django_get_or_create = ("code",)

    code = "oda"
    name = factory.LazyAttribute(lambda o: o.code.capitalize())


class UserFactory(DjangoModelFactory[User]):
    """Somebody who signs in, with a role: ``UserFactory(role="planner")``."""

    class Meta:
        model = User
        django_get_or_create = ("username",)
        skip_postgeneration_save = True

    username = "oda"

    @factory.post_generation
    def role(self: Any, create: bool, extracted: str | None, **kwargs: Any) -> None:
        """Give the role."""
        if create and extracted:
            RoleHeld.objects.get_or_create(user=self, role=extracted)


class BinFactory(DjangoModelFactory[Bin]):
    """Bin C2-1."""

    class Meta:
        model = Bin
        django_get_or_create = ("code",)

    code = "C2-1"


class PartKindFactory(DjangoModelFactory[PartKind]):
    """A wet-bulb wick, as the catalogue asks for it."""

    class Meta:
        model = PartKind
        django_get_or_create = ("code",)

    code = "wet-bulb-wick"
    name = "wet-bulb wick"
    unit = "piece"


class PartFactory(DjangoModelFactory[Part]):
    """A wick on the shelf."""

    class Meta:
        model = Part
        django_get_or_create = ("code",)

    code = "wick-300"
    name = "wet-bulb wick, braided, 300 mm"
    kind = factory.SubFactory(PartKindFactory)
    bin = factory.SubFactory(BinFactory)


class SupplierFactory(DjangoModelFactory[Supplier]):
    """Somebody who delivers."""

    class Meta:
        model = Supplier
        django_get_or_create = ("code",)

    code = "alder-works"
    name = "Alder Works"


class SupplierTermsFactory(DjangoModelFactory[SupplierTerms]):
    """Three weeks, packs of ten."""

    class Meta:
        model = SupplierTerms

    part = factory.SubFactory(PartFactory)
    supplier = factory.SubFactory(SupplierFactory)
    lead_time_days = Decimal(21)
    pack_size = Decimal(10)
    least_order = Decimal(10)
    unit_price = Decimal("3.40")


class TaskSheetFactory(DjangoModelFactory[TaskSheet]):
    """Grease the fan bearings, kiln open and empty."""

    class Meta:
        model = TaskSheet
        django_get_or_create = ("code",)

    code = "fan-bearing-grease"
    title = "Grease the fan bearings"
    kind = factory.SubFactory(ComponentKindFactory)
    needs_state = "empty"
    hours = Decimal("1.5")


class WorkOrderFactory(DjangoModelFactory[WorkOrder]):
    """A job that somebody asked for."""

    class Meta:
        model = WorkOrder

    number = factory.Sequence(lambda n: f"WO-{n + 1:04d}")
    title = "Free the flap linkage"
    kiln = factory.SubFactory(KilnFactory)
    origin = WorkOrder.Origin.ASKED_FOR
    needs_state = "empty"
    hours = Decimal("1.5")
    due_at = MONDAY + timedelta(days=14)
    raised_at = MONDAY


class WorkStepFactory(DjangoModelFactory[WorkStep]):
    """A step of a job."""

    class Meta:
        model = WorkStep

    work_order = factory.SubFactory(WorkOrderFactory)
    no = factory.Sequence(lambda n: n + 1)
    text = "Grease both bearings."


class CheckPointFactory(DjangoModelFactory[CheckPoint]):
    """A point that is looked at with the kiln open and empty, on each fan."""

    class Meta:
        model = CheckPoint
        django_get_or_create = ("code",)

    code = "fan-blades"
    kind = factory.SubFactory(ComponentKindFactory)
    end_view_no = 5
    what = "Blades, hub, shroud and guard"
    seen_in = "open_empty"
    method = "Lock out first. Look at each blade root with a lamp."
    criterion = "No crack, no loose screw."
    per = "component"


class DefectFactory(DjangoModelFactory[Defect]):
    """A fan that wobbles."""

    class Meta:
        model = Defect

    kiln = factory.SubFactory(KilnFactory)
    found_at = MONDAY
    what = "wobbles"


class QualificationFactory(DjangoModelFactory[Qualification]):
    """A skill that somebody holds, without an end."""

    class Meta:
        model = Qualification

    person = factory.SubFactory(PersonFactory)
    skill = factory.SubFactory(SkillFactory)


class ChannelFactory(DjangoModelFactory[Channel]):
    """The air temperature on the left."""

    class Meta:
        model = Channel
        django_get_or_create = ("kiln", "quantity", "place")

    kiln = factory.SubFactory(KilnFactory)
    quantity = Channel.Quantity.AIR_TEMPERATURE
    place = "left"


class ReadingSourceFactory(DjangoModelFactory[ReadingSource]):
    """A logger that writes files."""

    class Meta:
        model = ReadingSource
        django_get_or_create = ("code",)

    code = "logger"
    name = "Logger of the kilns"
    way = ReadingSource.Way.FILES
