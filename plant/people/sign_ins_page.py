"""Sign-ins: who may sign in, in which roles; and one's own password."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.views import PasswordChangeView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse_lazy
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from plant.access import needs
from plant.frame.requests import refusal_on, user_of
from plant.models import Person, User
from plant.people.forms import FirstPasswordForm, OwnPasswordForm, RolesForm, SignInForm
from plant.people.sign_ins import give_sign_in, set_first_password, set_roles


@needs("give sign-ins")
def sign_ins(request: HttpRequest) -> HttpResponse:
    """Show who may sign in, in which roles."""
    known = User.objects.select_related("person").prefetch_related("roles_held").order_by("-is_active", "username")
    without = Person.objects.working_here().filter(user__isnull=True)
    return render(request, "people/sign_ins.html", {"users": known, "without": without})


@needs("give sign-ins")
def give(request: HttpRequest, code: str) -> HttpResponse:
    """Give somebody a sign-in with a first password and roles."""
    person = get_object_or_404(Person, code=code)
    form = SignInForm(request.POST if request.method == "POST" else None, initial={"username": person.code})
    if form.is_valid():
        with refusal_on(form):
            give_sign_in(person, **form.cleaned_data, by=user_of(request))
            messages.success(request, _("%(person)s can sign in now.") % {"person": person})
            return redirect(person)
    heading = _("Sign-in for %(person)s") % {"person": person}
    return render(request, "people/person_form.html", {"form": form, "person": person, "heading": heading})


@needs("give sign-ins")
def roles(request: HttpRequest, pk: int) -> HttpResponse:
    """Change somebody's roles, or switch the sign-in off."""
    user = get_object_or_404(User.objects.select_related("person"), pk=pk)
    initial = {"roles": sorted(user.roles), "is_active": user.is_active}
    form = RolesForm(request.POST if request.method == "POST" else None, initial=initial)
    if form.is_valid():
        with refusal_on(form):
            set_roles(user, **form.cleaned_data, by=user_of(request))
            messages.success(request, _("The roles of %(user)s are changed.") % {"user": user})
            return redirect("plant:sign-ins")
    return _account(request, user, roles_form=form)


@needs("give sign-ins")
@require_POST
def first_password(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a new first password."""
    user = get_object_or_404(User.objects.select_related("person"), pk=pk)
    form = FirstPasswordForm(request.POST)
    if form.is_valid():
        with refusal_on(form):
            set_first_password(user, form.cleaned_data["password"], by=user_of(request))
            messages.success(request, _("%(user)s has a new first password.") % {"user": user})
            return redirect("plant:sign-ins")
    return _account(request, user, password_form=form)


def _account(request: HttpRequest, user: User, **forms: Any) -> HttpResponse:
    initial = {"roles": sorted(user.roles), "is_active": user.is_active}
    context = {
        "account": user,
        "roles_form": RolesForm(initial=initial),
        "password_form": FirstPasswordForm(),
        **forms,
    }
    return render(request, "people/sign_in.html", context)


class OwnPassword(PasswordChangeView):
    """Change one's own password."""

    form_class = OwnPasswordForm
    success_url = reverse_lazy("home")

    def form_valid(self, form: Any) -> HttpResponse:
        """Say that it is done."""
        messages.success(self.request, _("Your password is changed."))
        return super().form_valid(form)


own_password = needs("see home")(OwnPassword.as_view())
