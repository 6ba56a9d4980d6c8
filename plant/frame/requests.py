"""What pages ask of a request, and how they say what an act refuses."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any, cast
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, QueryDict
from django.utils.translation import gettext as _

from plant import clock
from plant.models import Mill, Person, User

MOST_TYPED = 120


def user_of(request: HttpRequest) -> User:
    """Return who is signed in; views with ``@needs`` never run for strangers."""
    user = request.user
    assert isinstance(user, User)  # noqa: S101 (narrows the type; the access check ran before)
    return user


def person_of(request: HttpRequest) -> Person | None:
    """Return the person who is signed in, where the sign-in belongs to one."""
    return user_of(request).person


def mill_of(request: HttpRequest) -> Mill:
    """Return the mill. Raises Mill.DoesNotExist before one was loaded."""
    return getattr(request, "mill", None) or Mill.objects.current()


def today_of(request: HttpRequest) -> date:
    """Return the mill's calendar day. Raises Mill.DoesNotExist before one was loaded."""
    return clock.today(mill_of(request).zone)


def day_of(request: HttpRequest) -> date:
    """Return the mill's calendar day; that of UTC before there is a mill."""
    mill = request.mill  # type: ignore[attr-defined]
    return clock.today(mill.zone) if mill else clock.now().date()


def version_of(request: HttpRequest) -> int:
    """Return the version that a page with a button alone carries. Raises ValidationError where it carries none."""
    try:
        return int(request.POST.get("version", ""))
    except ValueError:
        raise ValidationError(_("The page was out of date. Try again.")) from None


def typed(request: HttpRequest, name: str) -> str:
    """Return what was typed into a search: no longer than a name, without the one character PostgreSQL cannot keep."""
    return request.GET.get(name, "").replace("\x00", "").strip()[:MOST_TYPED]


def query_without_page(request: HttpRequest) -> str:
    """Return the query of the address without its page, to be carried by the links to other pages."""
    kept: list[tuple[str, Any]] = [(name, value) for name, value in request.GET.items() if name != "page" and value]
    return urlencode(kept)


@contextmanager
def refusal_on(form: forms.BaseForm, kind: type[ValidationError] = ValidationError) -> Iterator[None]:
    """Show on a form what the act within refuses, and keep what was typed; what is done leaves by ``return``."""
    try:
        yield
    except kind as refusal:
        put_refusal(form, refusal)


def put_refusal(form: forms.BaseForm, refusal: ValidationError) -> None:
    """Put a refusal on a form: what speaks of one of its fields beside that, all else above the form.

    A form that has more to ask after some refusal does so in its ``ask``.
    """
    if hasattr(refusal, "error_dict"):
        for name, errors in refusal.error_dict.items():
            form.add_error(name if name in form.fields else None, errors)
    else:
        form.add_error(None, refusal)
    if hasattr(form, "ask"):
        form.ask(refusal)


def renew(form: forms.BaseForm, **values: object) -> None:
    """Put values that are fresh into a form that was sent and is shown again."""
    renewed = cast(QueryDict, form.data).copy()
    for name, value in values.items():
        renewed[form.add_prefix(name)] = str(value)
    form.data = renewed


@contextmanager
def refusal_said(request: HttpRequest) -> Iterator[None]:
    """Say above the next page what the act within refuses."""
    try:
        yield
    except ValidationError as refusal:
        for message in refusal.messages:
            messages.error(request, message)


def say_errors(form: forms.BaseForm) -> str:
    """Say all errors of a form in one line, for where the form itself is not shown again."""
    return " ".join(str(message) for errors in form.errors.values() for message in errors)
