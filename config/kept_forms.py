"""Typed words outlast the sign-in: kept for whoever opened the page, and filled in again for nobody else.

Whose page a form came from is told by its token: each sign-in has a secret of its own, from which the tokens of its
pages are made, and a signed cookie of the device remembers which secret was whose.
"""

from collections.abc import Callable
from hashlib import sha256

from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import CSRF_ALLOWED_CHARS, CSRF_SECRET_LENGTH, CSRF_TOKEN_LENGTH
from django.utils.html import escape
from django.utils.translation import gettext as _

from config.refill import refill
from plant.frame import kept_forms
from plant.models import User

COOKIE = "kilnward_pages"
COOKIE_LIVES_S = 30 * 24 * 3600
SIGN_INS_KNOWN = 6
# In the session: the pages to which words belong.
PAGES = "kept_pages"


def _mark(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()[:24]


def _owners(request: HttpRequest) -> dict[str, int]:
    """Return mark of a secret -> user, oldest first, as this device knows them."""
    said = request.get_signed_cookie(COOKIE, default="", salt=COOKIE, max_age=COOKIE_LIVES_S) or ""
    pairs = (one.split(":") for one in said.split("-") if one)
    return {mark: int(pk) for mark, pk in pairs}


def _unmasked(token: str) -> str:
    """Return the secret in a token: its second half, shifted letter by letter by the first, the mask of the page."""
    letters = {letter: at for at, letter in enumerate(CSRF_ALLOWED_CHARS)}
    if not letters.keys() >= set(token):
        return ""
    mask, masked = token[:CSRF_SECRET_LENGTH], token[CSRF_SECRET_LENGTH:]
    shifts = (letters[hidden] - letters[one] for hidden, one in zip(masked, mask, strict=True))
    return "".join(CSRF_ALLOWED_CHARS[shift % len(letters)] for shift in shifts)


def owner_of_page(request: HttpRequest) -> User | None:
    """Return who had signed in when the page was opened from which a form came; nobody where that is not sure."""
    token = request.POST.get("csrfmiddlewaretoken") or request.headers.get("X-CSRFToken", "")
    if len(token) == CSRF_TOKEN_LENGTH:
        token = _unmasked(token)
    if len(token) != CSRF_SECRET_LENGTH:
        return None
    pk = _owners(request).get(_mark(token))
    return User.objects.filter(pk=pk, is_active=True).first() if pk else None


def keep_words(request: HttpRequest, page: str) -> User | None:
    """Keep what a form brought in vain; return for whom, if it was kept."""
    owner = owner_of_page(request)
    if owner is None:
        return None
    kept = kept_forms.keep(
        owner, page=page, address=request.path, fields=dict(request.POST.lists()), has_file=bool(request.FILES)
    )
    if kept is None:
        return None
    request.has_kept_words = True  # type: ignore[attr-defined]
    if request.user.pk == owner.pk:
        request.session[PAGES] = sorted({*request.session.get(PAGES, ()), page})
    return owner


@receiver(user_logged_in)
def remember_pages(request: HttpRequest, user: User, **kwargs: object) -> None:
    """Let the session know to which pages words of this user belong, and of no other."""
    request.session[PAGES] = kept_forms.kept_pages(user)


class KeptFormsMiddleware:
    """Remembers whose pages are whose on this device, and fills in what was typed before signing in again."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on; fill in the page it asked for."""
        response = self.get_response(request)
        user = request.user
        if not isinstance(user, User) or not user.is_authenticated:
            return response
        self._remember(request, response, user)
        pages = request.session.get(PAGES)
        if pages and request.method == "POST" and not hasattr(request, "has_kept_words"):
            kept_forms.forget(user, request.path)
        if pages and request.method == "GET" and request.get_full_path() in pages and not getattr(request, "htmx", 0):
            self._fill(request, response, user)
        return response

    def _remember(self, request: HttpRequest, response: HttpResponse, user: User) -> None:
        secret = request.META.get("CSRF_COOKIE")
        if not secret:
            return
        owners, mark = _owners(request), _mark(secret)
        if owners.get(mark) == user.pk:
            return
        # A secret that two users shared tells nothing: 0 is nobody.
        owners[mark] = 0 if mark in owners else user.pk
        newest = list(owners.items())[-SIGN_INS_KNOWN:]
        response.set_signed_cookie(
            COOKIE,
            "-".join(f"{mark}:{pk}" for mark, pk in newest),
            salt=COOKIE,
            max_age=COOKIE_LIVES_S,
            httponly=True,
            samesite="Lax",
            secure=request.is_secure(),
        )

    def _fill(self, request: HttpRequest, response: HttpResponse, user: User) -> None:
        page = request.get_full_path()
        kept = kept_forms.kept_form(user, page)
        if response.streaming or not response.headers.get("Content-Type", "").startswith("text/html"):
            return
        if kept is None:
            request.session[PAGES] = [one for one in request.session[PAGES] if one != page]
            return
        filled = _("What you had typed here is filled in again. It is not sent: look it over, then send it.")
        anew = _("Ticks that say how something is now, passwords and files are left for you to give again.")
        elsewhere = _("You had typed something that was not stored.")
        link = f'<a href="#kept-words">{escape(_("To what you had typed"))}</a>'
        note = f'<p class="note note-warning" id="kept-words">{escape(filled)} {escape(anew)}</p>'
        if kept.has_file:
            note += f'<p class="note note-warning">{escape(_("The file must be chosen again."))}</p>'
        top = f'<p class="note note-warning">{escape(elsewhere)} {link}</p>'
        source = response.content.decode(response.charset)
        response.content = refill(source, page, kept.address, kept.fields, note, top).encode(response.charset)
        if "Content-Length" in response.headers:
            response.headers["Content-Length"] = str(len(response.content))
