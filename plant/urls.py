"""Addresses of the plant."""

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, path

from plant.views import availability, downtime
from plant.views.background import background, background_again, background_job


def soon(request: HttpRequest, **kwargs: str) -> HttpResponse:
    """Stand in for a page that is being built."""
    raise Http404


app_name = "plant"
urlpatterns: list[URLPattern] = [
    path("people/", soon, name="people"),
    path("people/<slug:code>/", soon, name="person"),
    path("kilns/<slug:tag>/downtime/", downtime.report, name="downtime-report"),
    path("kilns/<slug:tag>/downtime/<int:pk>/", downtime.correct, name="downtime-correct"),
    path("kilns/<slug:tag>/downtime/<int:pk>/end/", downtime.end, name="downtime-end"),
    path("words/", soon, name="words"),
    path("mill/", soon, name="mill"),
    path("background/", background, name="background"),
    path("background/<int:pk>/", background_job, name="background-job"),
    path("background/<int:pk>/again/", background_again, name="background-again"),
    path("availability/", availability.availability, name="availability"),
    path("availability/report.pdf", availability.availability_pdf, name="availability-pdf"),
    path("availability/report.csv", availability.availability_csv, name="availability-csv"),
    path("availability/downtime.csv", availability.downtime_csv, name="availability-downtime-csv"),
]
