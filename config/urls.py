"""Every address of the site."""

from __future__ import annotations

from django.contrib import admin
from django.urls import include, path

urlpatterns = [
    path("workbench/records/", admin.site.urls),
    path("", include("bookings.urls")),
    path("", include("reminders.urls")),
]
