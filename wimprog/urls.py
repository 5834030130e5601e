"""All addresses. Pages that join several apps are here; the rest is each app's own."""

from django.contrib import admin
from django.contrib.auth import views as auth_views
from django.urls import include, path

from wimprog import views, work_views

urlpatterns = [
    path("", views.home, name="home"),
    path("healthz", views.healthz, name="healthz"),
    path("roadside-worker.js", views.roadside_worker, name="roadside-worker"),
    path("health/", views.health, name="health"),
    path("health/export/<str:fmt>/", views.health_export, name="health-export"),
    path("roadside/work/look/", work_views.look_for_work, name="find-work"),
    path("sites/", views.site_list, name="site-list"),
    path("", include("sites.urls")),
    path("", include("installs.urls")),
    path("", include("calibration.urls")),
    path("", include("quality.urls")),
    path("sites/<str:code>/", views.site_detail, name="site-detail"),
    path("sites/<str:code>/lanes/<str:label>/", views.lane_detail, name="lane-detail"),
    path("sign-in/", auth_views.LoginView.as_view(), name="login"),
    path("sign-out/", auth_views.LogoutView.as_view(), name="logout"),
    path("repair/", admin.site.urls),
]

admin.site.site_header = "Repair desk"
admin.site.site_title = "Repair desk"
admin.site.index_title = "For mending records; the daily work is on the program's pages"
