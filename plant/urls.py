"""Addresses of the plant."""

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, path

from plant.views.background import background, background_again, background_job


def soon(request: HttpRequest, **kwargs: str) -> HttpResponse:
    """Stand in for a page that is being built."""
    raise Http404


app_name = "plant"
urlpatterns: list[URLPattern] = [
    path("people/", soon, name="people"),
    path("people/<slug:code>/", soon, name="person"),
    path("words/", soon, name="words"),
    path("mill/", soon, name="mill"),
    path("background/", background, name="background"),
    path("background/<int:pk>/", background_job, name="background-job"),
    path("background/<int:pk>/again/", background_again, name="background-again"),
    path("availability/", soon, name="availability"),
    path("availability/report.pdf", soon, name="availability-pdf"),
    path("availability/report.csv", soon, name="availability-csv"),
]
