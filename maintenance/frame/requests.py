"""What several pages of upkeep share."""

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from plant.models import Mill, Person, User


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


def put_refusal(form: forms.BaseForm, refusal: ValidationError) -> None:
    """Show on a form what an action refused, and keep what was typed."""
    for message in refusal.messages:
        form.add_error(None, message)


def sentence(form: forms.Form) -> str:
    """Say all errors of a form in one line, for where the form itself is not shown again."""
    return " ".join(str(message) for errors in form.errors.values() for message in errors)


def query_without_page(request: HttpRequest) -> str:
    """Return the query of the address without its page, to be carried by the links to other pages."""
    kept: list[tuple[str, Any]] = [(name, value) for name, value in request.GET.items() if name != "page" and value]
    return urlencode(kept)
