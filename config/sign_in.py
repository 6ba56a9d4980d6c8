"""Signing in: once for a shift, for a quarter of an hour on a device that others use, and not by guessing names."""

from datetime import timedelta
from typing import Any

from axes.helpers import get_client_ip_address
from axes.models import AccessAttempt
from django import forms
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.core.signing import BadSignature, Signer
from django.db.models import Max, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

# So many wrong passwords from one address, of whatever names, pass for the slips of an office behind one router.
SLIPS = 10
LONGEST_WAIT_S = 60
KNOWN_DEVICE_COOKIE = "kilnward_known"
KNOWN_DEVICE_S = 3600 * 24 * 180
_signer = Signer(salt="kilnward known device")


class SignInForm(AuthenticationForm):
    """Name, password, and whether others use the device."""

    is_shared = forms.BooleanField(required=False)


def wait_of(request: HttpRequest) -> int:
    """Return the seconds an address must wait after many wrong passwords, whatever the names; 0 where it need not.

    A device on which that person signed in before is not slowed: whoever shares an address with a guesser, as all do
    behind one router, gets in.
    """
    address = get_client_ip_address(request)
    since = timezone.now() - timedelta(hours=settings.AXES_COOLOFF_TIME)
    tries = AccessAttempt.objects.filter(ip_address=address, attempt_time__gte=since)
    found = tries.aggregate(count=Sum("failures_since_start"), last=Max("attempt_time"))
    count: int = found["count"] or 0
    if count < SLIPS or is_known_device(request):
        return 0
    wait_s: int = min(LONGEST_WAIT_S, 2 ** min(count - SLIPS, 10))
    passed_s: float = max(0.0, (timezone.now() - found["last"]).total_seconds())
    return max(0, round(wait_s - passed_s))


def is_known_device(request: HttpRequest) -> bool:
    """Say whether the person who signs in did so on this device before."""
    try:
        known = _signer.unsign(request.COOKIES.get(KNOWN_DEVICE_COOKIE, ""))
    except BadSignature:
        return False
    return known == request.POST.get("username", "")


class SignInView(LoginView):
    """Signs in, and remembers the device."""

    form_class = SignInForm
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Let an address that guesses wait before the password is looked at."""
        wait_s = wait_of(request)
        if wait_s:
            answer = render(request, "registration/wait.html", {"wait_s": wait_s}, status=429)
            answer["Retry-After"] = str(wait_s)
            return answer
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign in for as long as the device allows."""
        answer = super().form_valid(form)
        if form.cleaned_data["is_shared"]:
            self.request.session.set_expiry(settings.SHARED_DEVICE_S)
            answer.delete_cookie(KNOWN_DEVICE_COOKIE)
        else:
            answer.set_cookie(
                KNOWN_DEVICE_COOKIE,
                _signer.sign(form.get_user().get_username()),
                max_age=KNOWN_DEVICE_S,
                secure=settings.SESSION_COOKIE_SECURE,
                httponly=True,
                samesite="Lax",
                path="/sign-in/",
            )
        return answer
