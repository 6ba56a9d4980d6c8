"""Addresses of inventory."""

app_name = "inventory"
urlpatterns: list = []
