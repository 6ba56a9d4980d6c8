"""Addresses of plant."""

app_name = "plant"
urlpatterns: list = []
