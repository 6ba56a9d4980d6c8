"""A small mill for tests of upkeep: a kiln, people who may do the work, and a chamber that can be opened."""

from decimal import Decimal
from uuid import uuid4

from django.test import Client

from maintenance.door.closing import close_permit
from maintenance.entry.door import come_out
from maintenance.entry.now import entry_of
from maintenance.entry.permits import EntryAnswers, open_permit
from maintenance.models import EntryPermit, WorkOrder
from plant.models import Kiln, Person, Qualification, User
from tests.factories import PersonFactory, SkillFactory, UserFactory

BACKEND = "django.contrib.auth.backends.ModelBackend"


def a_user(role: str, code: str = "oda", skills: tuple[str, ...] = ("lock-out",)) -> User:
    """Somebody with a role, who is a person with skills that never run out."""
    user: User = UserFactory(username=code, role=role)
    user.person = a_person(code, *skills)
    user.save()
    return user


def a_person(code: str, *skills: str) -> Person:
    """Somebody with skills."""
    person: Person = PersonFactory(code=code)
    for skill in skills:
        Qualification.objects.get_or_create(person=person, skill=SkillFactory(code=skill))
    return person


def answers(**changes: object) -> EntryAnswers:
    """What is said at the door when all is as it should be."""
    said = {
        "locked_out_by": a_person("oda", "lock-out"),
        "watch_outside": a_person("per"),
        "temperature_c": Decimal(24),
        "is_open": True,
        "is_locked_out": True,
        "is_escape_door_tried": True,
    }
    return EntryAnswers(**{**said, **changes})  # type: ignore[arg-type]


def opened(kiln: Kiln, by: User, work_order: WorkOrder | None = None) -> EntryPermit:
    """A chamber that is open for entry."""
    return open_permit(kiln, answers(), by=by, key=uuid4(), work_order=work_order)


def shut(kiln: Kiln, by: User) -> None:
    """Bring everybody out of a chamber, end what goes on in it, and close it."""
    stand = entry_of(kiln)
    assert stand
    for one in stand.inside:
        come_out(stand.permit, one.person, by=by, key=uuid4())
    sittings, jobs = ([one.pk for one in work] for work in (stand.sittings, stand.jobs))
    close_permit(stand.permit, by=by, key=uuid4(), is_everybody_out=True, sittings=sittings, jobs=jobs)


def signed_in(client: Client, user: User) -> Client:
    """The client, as somebody."""
    client.force_login(user, backend=BACKEND)
    return client
