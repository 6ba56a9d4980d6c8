"""Four eyes for safety work: what keeps people alive is accepted by somebody who did not do it."""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from maintenance.models import CheckPoint, StepRecord, TaskSheet, WorkOrder
from maintenance.models.versions import has_caution
from plant.access import Role, access_table
from plant.models import Change, ComponentKind, User

# Of a job with this caution the catalogue says that the guard goes back on before the locks come off.
GUARD_CAUTION = "fans"
# Acts of the history by which somebody has taken a job into his hands.
OWN_ACTS = ("started", "carried on", "paused", "done")
NAMES_SHOWN = 6


@dataclass(frozen=True, slots=True)
class Hands:
    """Who took part in work: by sign-in and by person."""

    users: frozenset[int]
    people: frozenset[int]

    @classmethod
    def of_users(cls, users: Iterable[User | None]) -> "Hands":
        """Return those who signed in, by both."""
        known = [user for user in users if user is not None]
        people = frozenset(user.person_id for user in known if user.person_id is not None)
        return cls(frozenset(user.pk for user in known), people)

    def and_those(self, other: "Hands") -> "Hands":
        """Return both."""
        return Hands(self.users | other.users, self.people | other.people)

    def have(self, user: User) -> bool:
        """Say whether somebody is among them."""
        return user.pk in self.users or (user.person_id is not None and user.person_id in self.people)


def is_safety_work(order: WorkOrder) -> bool:
    """Say whether somebody else must accept it: one rule, by what the catalogue and the record say.

    That is: what is on record as safety work, what mends a bar to entry, proof tests, work on ways out and on the kinds
    that the catalogue groups as safety, and work at which guards come off.
    """
    sheet, component = order.sheet, order.component
    if order.is_safety or (order.defect and order.defect.blocks_entry):
        return True
    if sheet and (sheet.is_safety or sheet.is_proof_test):
        return True
    if component and component.kind.group == ComponentKind.Group.SAFETY:
        return True
    if component and CheckPoint.objects.filter(kind=component.kind_id, blocks_entry=True).exists():
        return True
    # Without a sheet nobody knows whether the guard comes off: where it may, it counts as if it did.
    if sheet:
        return has_caution(order, GUARD_CAUTION)
    guarded = TaskSheet.objects.filter(cautions__code=GUARD_CAUTION)
    return component is not None and guarded.filter(kind=component.kind_id).exists()


def hands_on(orders: Iterable[WorkOrder]) -> Hands:
    """Return who took part in jobs, by every record there is: team, time, steps, start, end, tests."""
    users: set[int | None] = set()
    people: set[int] = set()
    for order in orders:
        people.update(order.assignments.values_list("person", flat=True))
        people.update(order.labour.values_list("person", flat=True))
        people.update(order.proof_tests.values_list("tested_by", flat=True))
        users.update(StepRecord.objects.filter(step__work_order=order).values_list("by", flat=True))
        users.update(Change.objects.about(order).filter(act__in=OWN_ACTS).values_list("by", flat=True))
    return Hands(frozenset(pk for pk in users if pk is not None), frozenset(people))


def refuse_own(act: str, hands: Hands, by: User | None, *, what: str) -> None:
    """Refuse somebody who took part, and say who may do it; ``what`` is what must not be accepted by oneself.

    Where the mill has nobody left with the right, that is said with how to mend it: never a silent exception.
    """
    if by is None or not hands.have(by):
        return
    raise ValidationError(
        _("%(who)s took part: %(what)s needs somebody who did not. %(names)s")
        % {"who": by, "what": what, "names": who_may(act, hands)},
        code="four-eyes",
    )


def said_before(refuse: Callable[..., None], *args: object) -> str:
    """Say what would be refused, before a form is shown or a word typed; empty where nothing is against it."""
    try:
        refuse(*args)
    except ValidationError as refusal:
        return " ".join(refusal.messages)
    return ""


def who_may(act: str, hands: Hands) -> str:
    """Say who may do an act without having taken part, or how the mill comes to somebody who may."""
    entitled = [user for user in _entitled(act) if not hands.have(user)]
    if entitled:
        return _("These may: %(names)s.") % {"names": _names(entitled)}
    givers = _entitled("give sign-ins")
    if givers:
        return _(
            "Nobody with the right is left who did not take part. %(names)s can give it to somebody else: People, that "
            "person's page, role %(roles)s."
        ) % {"names": _names(givers), "roles": _roles(act)}
    return _("Nobody with the right is left who did not take part, and nobody on record may give it: call the office.")


def _entitled(act: str) -> list[User]:
    roles = access_table()[act]
    users = User.objects.filter(is_active=True, roles_held__role__in=roles).select_related("person").distinct()
    return sorted((user for user in users if user.person is None or user.person.is_active), key=str)


def _roles(act: str) -> str:
    roles = [str(role.label) for role in Role if role in access_table()[act] and role != Role.ADMINISTRATOR]
    return str(get_text_list(roles, _("or")))


def _names(users: Collection[User]) -> str:
    names = [str(user) for user in users]
    if len(names) > NAMES_SHOWN:
        names = [*names[:NAMES_SHOWN], _("others")]
    return str(get_text_list(names, _("or")))
