"""Addresses of booking: riders' pages here, the workbench beside."""

from __future__ import annotations

from django.urls import include, path

from bookings.views import public_book, public_visit

public_patterns = [
    path("", public_book.home, name="home"),
    path("book/<slug:tier_code>/bike/", public_book.bike, name="bike"),
    path("book/<slug:tier_code>/day/", public_book.day, name="day"),
    path("book/<slug:tier_code>/you/", public_book.you, name="you"),
    path("visit/<str:token>/", public_visit.visit_page, name="visit"),
    path("visit/<str:token>/visit.ics", public_visit.visit_calendar, name="visit-calendar"),
    path("visit/<str:token>/move/", public_visit.move, name="visit-move"),
    path("visit/<str:token>/call-off/", public_visit.call_off, name="visit-call-off"),
]

urlpatterns = [
    path("", include((public_patterns, "public"))),
    path("", include("bookings.staff_urls")),
]
