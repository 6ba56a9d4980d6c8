"""Addresses of the storeroom."""

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, path


def soon(request: HttpRequest, **kwargs: str) -> HttpResponse:
    """Stand in for a page that is being built."""
    raise Http404


app_name = "inventory"
urlpatterns: list[URLPattern] = [
    path("storeroom/", soon, name="storeroom"),
    path("storeroom/parts/<slug:code>/", soon, name="part"),
    path("storeroom/orders/", soon, name="orders"),
    path("storeroom/orders/<slug:number>/", soon, name="order"),
]
