"""Addresses of this app."""

app_name = "calibration"

urlpatterns: list = []
