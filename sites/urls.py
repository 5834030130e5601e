"""Addresses of this app; the lists and pages of sites and lanes are wimprog's."""

from django.urls import path

from sites.views import places

app_name = "sites"

urlpatterns = [
    path("program/settings/", places.program_edit, name="program-edit"),
    path("sites/add/", places.site_add, name="site-add"),
    path("sites/lanes/<int:pk>/edit/", places.lane_edit, name="lane-edit"),
    path("sites/<str:code>/edit/", places.site_edit, name="site-edit"),
    path("sites/<str:code>/state/", places.site_state, name="site-state"),
    path("sites/<str:code>/lanes/add/", places.lane_add, name="lane-add"),
]
