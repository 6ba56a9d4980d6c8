"""Addresses of the plant."""

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, path


def soon(request: HttpRequest, **kwargs: str) -> HttpResponse:
    """Stand in for a page that is being built."""
    raise Http404


app_name = "plant"
urlpatterns: list[URLPattern] = [
    path("people/", soon, name="people"),
    path("people/<slug:code>/", soon, name="person"),
    path("words/", soon, name="words"),
    path("mill/", soon, name="mill"),
    path("background/", soon, name="background"),
    path("availability/", soon, name="availability"),
    path("availability/report.pdf", soon, name="availability-pdf"),
    path("availability/report.csv", soon, name="availability-csv"),
]
