"""Tokens of a source that sends: made, shown once, and revoked."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from plant.access import needs
from plant.frame.requests import refusal_said, user_of
from plant.models import ReadingSource, SourceToken
from plant.readings.source_tokens import make_token, revoke_token
from plant.readings.sources_page import source_page


@needs("edit sources")
@never_cache
@require_POST
def make(request: HttpRequest, code: str) -> HttpResponse:
    """Make a token and show it, in this answer and nowhere else: a page led to would have to keep it till then."""
    source = get_object_or_404(ReadingSource, code=code)
    with refusal_said(request):
        token, text = make_token(
            source, by=user_of(request), purpose=request.POST.get("purpose", SourceToken.Purpose.READINGS)
        )
        return source_page(request, source, fresh_token=text, fresh_pk=token.pk)
    return redirect("plant:source", code)


@needs("edit sources")
@require_POST
def revoke(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Let a token in no more."""
    token = get_object_or_404(SourceToken, source__code=code, pk=pk)
    if revoke_token(token, by=user_of(request)):
        messages.success(request, _("The token that ends in %(tail)s is revoked.") % {"tail": token.tail})
    else:
        messages.info(request, _("The token that ends in %(tail)s was revoked before.") % {"tail": token.tail})
    return redirect("plant:source", code)
