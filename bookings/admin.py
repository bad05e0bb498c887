"""Records the shop keeps by hand. What services own is shown here and never changed, so that no door goes round
the rules of the diary and the bench."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any

from django.contrib import admin, messages
from django.db.models import Model
from django.forms import ModelForm
from django.http import HttpRequest
from django.utils.translation import ngettext

from bookings import selectors
from bookings.forms.records import BikeRecordForm, RiderRecordForm, ShopRecordForm
from bookings.models import (
    Bay,
    Bike,
    BookingRequest,
    Claim,
    ClimateMonth,
    Closure,
    CoatApplied,
    Job,
    OpeningHours,
    Product,
    Rider,
    SafetySignOff,
    Shop,
    Step,
    StepDone,
    Tier,
    Visit,
    VisitEvent,
)

admin.site.site_header = "Records"
admin.site.site_title = "Records"
admin.site.index_title = "What the shop keeps by hand"
admin.site.site_url = "/workbench/"
admin.site.login_template = "bookings/staff/sign_in.html"


class LookOnly:
    """Shown, never changed: services own these rows."""

    def has_add_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


@admin.register(Shop)
class ShopAdmin(admin.ModelAdmin):
    form = ShopRecordForm
    list_display = ("name", "phone_e164", "time_zone")

    def has_add_permission(self, request: HttpRequest) -> bool:
        return selectors.shop() is None

    def has_delete_permission(self, request: HttpRequest, obj: Shop | None = None) -> bool:
        return False

    def save_model(self, request: HttpRequest, obj: Shop, form: ModelForm, change: bool) -> None:
        obj.pk = 1
        super().save_model(request, obj, form, change)


@admin.register(OpeningHours)
class OpeningHoursAdmin(admin.ModelAdmin):
    list_display = ("weekday", "opens", "closes")
    list_editable = ("opens", "closes")


@admin.register(Closure)
class ClosureAdmin(admin.ModelAdmin):
    list_display = ("day", "reason")
    date_hierarchy = "day"

    def save_model(self, request: HttpRequest, obj: Closure, form: ModelForm, change: bool) -> None:
        super().save_model(request, obj, form, change)
        zone = selectors.require_shop().zone
        midnight = datetime.combine(obj.day, time(0), zone)
        booked = selectors.visits_between(
            midnight, datetime.combine(obj.day + timedelta(days=1), time(0), zone)
        ).count()
        if booked:
            told = ngettext(
                "One visit is booked on that day and stays booked: move it.",
                "%(n)s visits are booked on that day and stay booked: move them.",
                booked,
            )
            self.message_user(request, told % {"n": booked}, messages.WARNING)


@admin.register(Bay)
class BayAdmin(admin.ModelAdmin):
    list_display = ("name", "kind", "in_use")


@admin.register(ClimateMonth)
class ClimateMonthAdmin(admin.ModelAdmin):
    list_display = (
        "month",
        "temperature_c",
        "relative_humidity_percent",
        "minimum_temperature_c",
        "frost_days",
        "source",
    )


class StepInline(admin.TabularInline):
    model = Step
    extra = 1
    fields = ("position", "name")


@admin.register(Tier)
class TierAdmin(admin.ModelAdmin):
    list_display = ("name", "usual_minutes", "curing_minutes", "price_minor_units", "position", "offered")
    list_editable = ("position", "offered")
    prepopulated_fields = {"code": ("name",)}
    inlines = (StepInline,)


@admin.register(Product)
class ProductAdmin(admin.ModelAdmin):
    list_display = ("name", "coat_kind", "curing_minutes", "no_wash_days", "in_use")
    list_filter = ("coat_kind", "in_use")


class BikeInline(admin.TabularInline):
    model = Bike
    extra = 0
    fields = ("description", "registration", "kind", "storage", "road_salt", "km_per_year")
    show_change_link = True
    can_delete = False
    readonly_fields = fields

    def has_add_permission(self, request: HttpRequest, obj: Rider | None = None) -> bool:
        return False


@admin.register(Rider)
class RiderAdmin(admin.ModelAdmin):
    form = RiderRecordForm
    list_display = ("name", "phone_e164", "email", "created_at")
    search_fields = ("name", "phone_e164", "email", "bikes__registration")
    fields = ("name", "email", "phone_e164", "created_at", "email_confirmed_at")
    readonly_fields = ("created_at", "email_confirmed_at")
    inlines = (BikeInline,)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False  # riders come in by a booking


@admin.register(Bike)
class BikeAdmin(admin.ModelAdmin):
    form = BikeRecordForm
    list_display = ("description", "registration", "rider", "kind", "storage", "road_salt", "km_per_year")
    list_filter = ("kind", "storage", "road_salt")
    list_select_related = ("rider",)
    search_fields = ("description", "registration", "rider__name")
    autocomplete_fields = ("rider",)
    readonly_fields = ("created_at",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False


@admin.register(BookingRequest)
class BookingRequestAdmin(LookOnly, admin.ModelAdmin):
    list_display = ("created_at", "source", "bike", "tier", "condition_told", "taken_by")
    list_filter = ("source", "tier")
    list_select_related = ("bike", "tier")
    search_fields = ("bike__registration", "bike__description", "bike__rider__name")


class VisitEventInline(LookOnly, admin.TabularInline):
    model = VisitEvent
    extra = 0


@admin.register(Visit)
class VisitAdmin(LookOnly, admin.ModelAdmin):
    list_display = ("starts_at", "bike", "tier", "bay", "state", "promised_at")
    list_filter = ("state", "tier", "bay")
    list_select_related = ("bike", "tier", "bay")
    date_hierarchy = "starts_at"
    search_fields = ("bike__registration", "bike__description", "bike__rider__name")
    inlines = (VisitEventInline,)


@admin.register(Claim)
class ClaimAdmin(LookOnly, admin.ModelAdmin):
    list_display = ("bay", "quarter", "visit", "expires_at")
    list_filter = ("bay",)
    list_select_related = ("bay", "visit__bike", "visit__tier")


class StepDoneInline(LookOnly, admin.TabularInline):
    model = StepDone
    extra = 0


class CoatAppliedInline(LookOnly, admin.TabularInline):
    model = CoatApplied
    extra = 0


class SafetySignOffInline(LookOnly, admin.TabularInline):
    model = SafetySignOff
    extra = 0


@admin.register(Job)
class JobAdmin(LookOnly, admin.ModelAdmin):
    list_display = ("visit", "dropped_off_at", "key_tag", "work_started_at", "work_finished_at", "collected_at")
    list_select_related = ("visit__bike", "visit__tier")
    date_hierarchy = "dropped_off_at"
    inlines = (StepDoneInline, CoatAppliedInline, SafetySignOffInline)

    def get_queryset(self, request: HttpRequest) -> Any:
        return super().get_queryset(request).select_related("visit__bike", "visit__tier")
