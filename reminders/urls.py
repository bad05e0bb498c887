"""Addresses of reminders: riders' pages, and of the workbench a bike's page and that of notices."""

from __future__ import annotations

from django.urls import include, path

from reminders.views import bike, climate, estimates, feeds, public, returns, staff, staff_bike, wordings

patterns = [
    path("bike/<str:token>/", bike.bike_page, name="bike"),
    path("bike/<str:token>/protection.svg", bike.bike_chart, name="chart"),
    path("bike/<str:token>/calendar/", feeds.of_bike, name="bike-calendar"),
    path("calendar/<str:token>.ics", feeds.feed, name="feed"),
    path("workbench/calendar/", feeds.own, name="own-calendar"),
    path("recall/<str:token>/", public.answer, name="answer"),
    path("recall/<str:token>/leave/", public.leave, name="leave"),
    path("not-right/<str:token>/", returns.not_right, name="not-right"),
    path("workbench/bikes/<int:pk>/", staff_bike.bike_page, name="staff-bike"),
    path("workbench/bikes/<int:pk>/findings/", staff_bike.findings, name="findings"),
    path("workbench/notices/", staff.notices, name="outbox"),
    path("workbench/notices/not-right/<int:pk>/seen-to/", returns.settle, name="not-right-seen-to"),
    path("workbench/notices/texts/", wordings.listing, name="texts"),
    path("workbench/notices/texts/<slug:kind>/", wordings.edit, name="text"),
    path("workbench/notices/texts/<slug:kind>/set-back/", wordings.set_back, name="text-set-back"),
    path("workbench/notices/<int:primary_key>/", staff.notice, name="notice"),
    path("workbench/notices/<int:primary_key>/again/", staff.resend, name="resend"),
    path("workbench/notices/<int:primary_key>/copy/", staff.copy, name="copy"),
    path("workbench/notices/<int:primary_key>/seen-to/", staff.close, name="close"),
]

estimate_patterns = [
    path("how-we-estimate/", estimates.how, name="how"),
    path("workbench/climate/", climate.climate, name="climate"),
    path("workbench/climate/forget/", climate.forget, name="forget"),
    path("workbench/climate/import/", climate.bring, name="bring"),
    path("workbench/estimate/parameters/", estimates.parameters, name="parameters"),
    path("workbench/estimate/parameters/<str:key>/", estimates.parameter, name="parameter"),
    path("workbench/estimate/parameters/<str:key>/set-back/", estimates.set_back, name="set-back"),
]

urlpatterns = [path("", include((patterns, "notices"))), path("", include((estimate_patterns, "estimate")))]
