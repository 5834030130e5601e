"""Addresses of this app."""

app_name = "quality"

urlpatterns: list = []
