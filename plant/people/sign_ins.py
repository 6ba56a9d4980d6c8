"""Sign-ins and roles. No password is ever shown, kept in clear, or put in the history."""

from collections.abc import Collection

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant.access import Role, require
from plant.models import Change, Person, RoleHeld, User


@transaction.atomic
def give_sign_in(person: Person, username: str, password: str, roles: Collection[str], *, by: User | None) -> User:
    """Let somebody sign in, with a first password and roles."""
    require(by, "give sign-ins")
    person = Person.objects.select_for_update().get(pk=person.pk)
    if User.objects.filter(person=person).exists():
        raise ValidationError(_("%(person)s has a sign-in already.") % {"person": person})
    if User.objects.filter(username__iexact=username).exists():
        raise ValidationError({"username": _("Somebody signs in with this name already. Choose another.")})
    user = User(username=username, person=person)
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from None
    user.set_password(password)
    user.has_first_password = True
    user.save()
    RoleHeld.objects.bulk_create(RoleHeld(user=user, role=role) for role in sorted(set(roles)))
    Change.record(person, "sign-in given", by=by, after={"username": username, "roles": sorted(set(roles))})
    return user


@transaction.atomic
def set_roles(user: User, roles: Collection[str], *, is_active: bool, by: User | None) -> None:
    """Change what somebody is at the mill, and whether they may sign in."""
    require(by, "give sign-ins")
    # All administrators are locked together: two of them could otherwise each take the other's role away.
    list(User.objects.select_for_update().filter(roles_held__role=Role.ADMINISTRATOR).order_by("pk"))
    user = User.objects.select_for_update(of=("self",)).get(pk=user.pk)
    held = set(user.roles_held.values_list("role", flat=True))
    wanted = set(roles)
    if not (is_active and Role.ADMINISTRATOR in wanted):
        _refuse_to_lose_the_last_administrator(user)
    RoleHeld.objects.filter(user=user, role__in=held - wanted).delete()
    RoleHeld.objects.bulk_create(RoleHeld(user=user, role=role) for role in sorted(wanted - held))
    before = {"roles": sorted(held), "may_sign_in": user.is_active}
    user.is_active = is_active
    user.save(update_fields=["is_active"])
    after = {"roles": sorted(wanted), "may_sign_in": is_active}
    if before != after:
        Change.record(user.person or user, "roles", by=by, before=before, after=after)


def _refuse_to_lose_the_last_administrator(user: User) -> None:
    administrators = User.objects.filter(is_active=True, roles_held__role=Role.ADMINISTRATOR)
    if administrators.filter(pk=user.pk).exists() and not administrators.exclude(pk=user.pk).exists():
        raise ValidationError(
            _(
                "%(user)s is the only administrator. Make somebody else administrator first: otherwise nobody could "
                "give sign-ins any more."
            )
            % {"user": user},
            code="last_administrator",
        )


@transaction.atomic
def set_first_password(user: User, password: str, *, by: User | None) -> None:
    """Give somebody who cannot sign in any more a new first password."""
    require(by, "give sign-ins")
    user = User.objects.select_for_update(of=("self",)).get(pk=user.pk)
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from None
    user.set_password(password)
    user.has_first_password = by != user
    user.save(update_fields=["password", "has_first_password"])
    Change.record(user.person or user, "new first password", by=by)
