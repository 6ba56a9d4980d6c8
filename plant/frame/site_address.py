"""The addresses that are handed out: to calendars, controllers, and in mails."""

from django.conf import settings
from django.http import HttpRequest


def absolute(request: HttpRequest, path: str) -> str:
    """Return the whole address of a path of this site: as the mill set it, else as it was asked for.

    Where the site is reached by https it says https whatever the last stretch to this server was: such an address may
    hold a secret.
    """
    if settings.SITE_ADDRESS:
        return f"{settings.SITE_ADDRESS}{path}"
    address = request.build_absolute_uri(path)
    return address.replace("http://", "https://", 1) if settings.IS_BEHIND_TLS else address
