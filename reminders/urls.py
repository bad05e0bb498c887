"""Addresses of reminders: riders' pages and the workbench page of notices."""

from __future__ import annotations

from django.urls import include, path

from reminders.views import public, staff

patterns = [
    path("bike/<str:token>/", public.bike_page, name="bike"),
    path("bike/<str:token>/protection.svg", public.bike_chart, name="chart"),
    path("recall/<str:token>/", public.answer, name="answer"),
    path("recall/<str:token>/leave/", public.leave, name="leave"),
    path("workbench/notices/", staff.notices, name="outbox"),
    path("workbench/notices/<int:primary_key>/again/", staff.resend, name="resend"),
    path("workbench/notices/<int:primary_key>/seen-to/", staff.close, name="close"),
]

urlpatterns = [path("", include((patterns, "notices")))]
