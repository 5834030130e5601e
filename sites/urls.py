"""Addresses of this app; the lists and pages of sites and lanes are wimprog's."""

from django.urls import path

from sites import views

app_name = "sites"

urlpatterns = [
    path("program/settings/", views.program_edit, name="program-edit"),
    path("sites/add/", views.site_add, name="site-add"),
    path("sites/lanes/<int:pk>/edit/", views.lane_edit, name="lane-edit"),
    path("sites/<str:code>/edit/", views.site_edit, name="site-edit"),
    path("sites/<str:code>/state/", views.site_state, name="site-state"),
    path("sites/<str:code>/lanes/add/", views.lane_add, name="lane-add"),
]
