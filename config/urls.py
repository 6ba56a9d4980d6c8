"""Root of all addresses."""

from django.urls import include, path

urlpatterns: list = [
    path("", include("plant.urls")),
    path("", include("inventory.urls")),
    path("", include("maintenance.urls")),
]
