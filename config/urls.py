"""Every address of the site."""

from __future__ import annotations

from django.conf import settings
from django.contrib import admin
from django.urls import include, path

from config import mailbox

urlpatterns = [
    path("workbench/records/", admin.site.urls),
    path("mailbox/", mailbox.listing, name="mailbox"),
    path("mailbox/<str:key>/", mailbox.reading, name="mailbox-letter"),
    path("mailbox/<str:key>/page/", mailbox.page, name="mailbox-page"),
    path("mailbox/<str:key>/invitation/", mailbox.invitation, name="mailbox-invitation"),
    path("mailbox/<str:key>/source/", mailbox.source, name="mailbox-source"),
    path("", include("bookings.urls")),
    path("", include("reminders.urls")),
]

# A mail provider's reports; without a secret anybody could send them, so there is no door.
if settings.ANYMAIL.get("WEBHOOK_SECRET"):
    urlpatterns.append(path("anymail/", include("anymail.urls")))
