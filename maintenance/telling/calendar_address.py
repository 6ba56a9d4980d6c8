"""The secret address of somebody's calendar: made, made anew, revoked, and found again when a calendar asks."""

from django.db import transaction

from maintenance.models import CalendarAddress
from plant.access import require
from plant.frame import tokens
from plant.models import Change, Person, User

# Somebody else's address is for those who keep the people's particulars.
FOR_OTHERS = "edit people"


def may_make_for(user: User, person: Person) -> bool:
    """Say whether somebody may make and revoke a person's address."""
    return user.may("take calendar") and (user.person_id == person.pk or user.may(FOR_OTHERS))


@transaction.atomic
def make_address(person: Person, *, by: User | None) -> str:
    """Make a person's address and return its secret, here and never again; the one before stops."""
    _require(person, by)
    person = Person.objects.select_for_update().get(pk=person.pk)
    before = _end(person, by)
    address, text = tokens.make(CalendarAddress, by=by, person=person)
    Change.record(person, "calendar address made", by=by, before=before, after={"ends_in": address.tail})
    return text


@transaction.atomic
def revoke_address(person: Person, *, by: User | None) -> bool:
    """Let a person's address show nothing more; say whether there was one that worked."""
    _require(person, by)
    before = _end(Person.objects.select_for_update().get(pk=person.pk), by)
    if before:
        Change.record(person, "calendar address revoked", by=by, before=before)
    return bool(before)


def find_address(text: str) -> CalendarAddress | None:
    """Return the address of a secret where it still works: not revoked, and of somebody who works here."""
    found = tokens.find(CalendarAddress.objects.select_related("person__user"), text)
    if found is None or found.revoked_at is not None or not found.person.is_active:
        return None
    # Whose sign-in was switched off is to see nothing more, by whatever way.
    user = getattr(found.person, "user", None)
    return found if user is None or user.is_active else None


def _require(person: Person, by: User | None) -> None:
    require(by, "take calendar")
    if by is not None and by.person_id != person.pk:
        require(by, FOR_OTHERS)


def _end(person: Person, by: User | None) -> dict[str, str]:
    """End the address that works; return what the history keeps of it."""
    works = CalendarAddress.objects.select_for_update().filter(person=person, revoked_at__isnull=True).first()
    if works is None:
        return {}
    tokens.end(works, by=by)
    return {"ends_in": works.tail}
