"""Addresses of this app."""

app_name = "installs"

urlpatterns: list = []
