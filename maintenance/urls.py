"""Addresses of upkeep."""

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, path

from maintenance.views import kilns


def soon(request: HttpRequest, **kwargs: str) -> HttpResponse:
    """Stand in for a page that is being built."""
    raise Http404


app_name = "maintenance"
urlpatterns: list[URLPattern] = [
    path("kilns/", kilns.kilns, name="kilns"),
    path("kilns/<slug:tag>/", kilns.kiln, name="kiln"),
    path("kilns/<slug:tag>/particulars/", kilns.edit, name="kiln-edit"),
    path("rounds/", soon, name="rounds"),
    path("rounds/checks/<slug:number>/", soon, name="check"),
    path("rounds/proof-tests/", soon, name="proof-tests"),
    path("rounds/standing-tasks/", soon, name="standing-tasks"),
    path("rounds/standing-tasks/<slug:code>/", soon, name="standing-task"),
    path("openings/", soon, name="openings"),
    path("work-orders/", soon, name="work-orders"),
    path("work-orders/<slug:number>/", soon, name="work-order"),
    path("my-work/", soon, name="my-work"),
]
