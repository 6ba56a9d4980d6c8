"""Addresses of maintenance."""

app_name = "maintenance"
urlpatterns: list = []
