"""Addresses of the workbench."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import include, path

from bookings.views import staff_bench, staff_calls, staff_diary, staff_sign_in, staff_visit

staff_patterns = [
    path("workbench/", staff_diary.today, name="today"),
    path("workbench/diary/", staff_diary.week, name="diary"),
    path("workbench/calls/", staff_calls.desk, name="calls"),
    path("workbench/calls/new/", staff_calls.book, name="book-new"),
    path("workbench/calls/bikes/<int:pk>/", staff_calls.book, name="book"),
    path("workbench/calls/visits/<int:pk>/", staff_calls.read_back, name="read-back"),
    path("workbench/visits/<int:pk>/", staff_visit.visit_page, name="visit"),
    path("workbench/visits/<int:pk>/sheet/", staff_visit.sheet, name="sheet"),
    path("workbench/visits/<int:pk>/bench/", staff_bench.bench, name="bench"),
    path("workbench/visits/<int:pk>/bench/<slug:verb>/", staff_bench.press, name="press"),
    path("workbench/visits/<int:pk>/<slug:verb>/", staff_visit.act, name="act"),
]

urlpatterns = [
    path("workbench/sign-in/", staff_sign_in.SignIn.as_view(), name="sign-in"),
    path("workbench/sign-out/", LogoutView.as_view(), name="sign-out"),
    path("", include((staff_patterns, "staff"))),
]
