"""Records of stages four to six; what the system writes by itself can be read here but not altered."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from reminders.models import (
    Attempt,
    CoatDue,
    Feed,
    Handling,
    Notice,
    NoticeText,
    OdometerReading,
    ParameterChange,
    ProviderEvent,
    Recall,
    RecallConsent,
    ReturnAsk,
    Schedule,
    Suppression,
    Tour,
    Wash,
    WeatherDay,
    ZoneFinding,
)


class ReadOnly(admin.ModelAdmin):
    """To look at only."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Notice)
class NoticeAdmin(ReadOnly):
    list_display = ("kind", "rider", "state", "due_at", "settled_at", "outcome")
    list_filter = ("state", "kind")
    search_fields = ("recipient", "rider__name", "message_id")


@admin.register(Attempt)
class AttemptAdmin(ReadOnly):
    list_display = ("notice", "at", "outcome", "phase", "code", "words")
    list_filter = ("outcome",)


@admin.register(ProviderEvent)
class ProviderEventAdmin(ReadOnly):
    list_display = ("provider", "kind", "notice", "at")


@admin.register(Schedule)
class ScheduleAdmin(ReadOnly):
    list_display = ("bike", "as_of", "salt_from", "salt_to", "model_version")


@admin.register(CoatDue)
class CoatDueAdmin(ReadOnly):
    list_display = ("coat", "due_early", "due_likely", "due_late", "act_by")


@admin.register(ParameterChange)
class ParameterChangeAdmin(ReadOnly):
    list_display = ("key", "value", "since", "by", "why")


@admin.register(WeatherDay)
class WeatherDayAdmin(ReadOnly):
    list_display = ("day", "temperature_c", "minimum_temperature_c", "relative_humidity_percent", "source")


@admin.register(OdometerReading, Tour, Wash, ZoneFinding)
class ToldAdmin(ReadOnly):
    """What was told of bikes, what was taken back included; the page of a bike is where to tell more."""

    list_display = ("bike", "__str__", "teller", "told_by", "told_at", "taken_back_by", "taken_back_at")


@admin.register(Recall)
class RecallAdmin(ReadOnly):
    list_display = ("bike", "season", "ideal", "answer", "answered_at")
    list_filter = ("season", "answer")


@admin.register(ReturnAsk)
class ReturnAskAdmin(ReadOnly):
    list_display = ("visit", "asked_at", "return_visit", "settled_at", "settled_by")


@admin.register(NoticeText)
class NoticeTextAdmin(ReadOnly):
    """Every wording the shop has used; the page of notices is where to change one."""

    list_display = ("kind", "subject", "saved_at", "saved_by")
    list_filter = ("kind",)


@admin.register(Handling)
class HandlingAdmin(ReadOnly):
    list_display = ("notice", "at", "by", "words")


@admin.register(Feed)
class FeedAdmin(ReadOnly):
    list_display = ("__str__", "is_open", "made_at", "same_since")


@admin.register(RecallConsent)
class RecallConsentAdmin(admin.ModelAdmin):
    list_display = ("rider", "given_at", "source", "withdrawn_at", "withdrawn_by")
    search_fields = ("rider__name", "rider__email")


@admin.register(Suppression)
class SuppressionAdmin(admin.ModelAdmin):
    """Deleting one lets mail go to the address again, once its owner has mended it."""

    list_display = ("address", "reason", "at")
    search_fields = ("address",)
