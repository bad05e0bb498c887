"""The shop: when it is open, where bikes stand, what roads and weather are like around it."""

from __future__ import annotations

from zoneinfo import ZoneInfo, available_timezones

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from bookings.rules.reading import month_day
from bookings.rules.types import RoadSalt
from bookings.text import ROAD_SALT, WEEKDAY


def known_zone(name: str) -> None:
    """Refuse a zone the time zone database does not have; a fixed offset would break at the next clock change."""
    if name not in available_timezones():
        raise ValidationError(_("%(name)s is not a time zone such as Europe/London."), params={"name": name})


def day_of_the_year(text: str) -> None:
    """Refuse what is no day of the year as MM-DD."""
    if month_day(text) is None:
        raise ValidationError(_("“%(text)s” is not a day as month-day, such as 11-01."), params={"text": text})


class Shop(models.Model):
    """The one workshop this installation serves (primary key 1)."""

    name = models.CharField(max_length=80)
    email = models.EmailField()
    phone_e164 = models.CharField(max_length=16)
    address = models.CharField(max_length=200)
    time_zone = models.CharField(max_length=40, default="Europe/London", validators=[known_zone])
    currency = models.CharField(max_length=3, default="GBP")
    phone_region = models.CharField(max_length=2, default="GB", help_text="Numbers typed without + are read as here.")
    road_salt = models.CharField(max_length=10, choices=ROAD_SALT, default=RoadSalt.NORMAL.value)
    salt_season_from = models.CharField(
        max_length=5,
        blank=True,
        validators=[day_of_the_year],
        help_text="First day roads are salted, as month-day such as 11-01; empty: reckoned from frost.",
    )
    salt_season_to = models.CharField(
        max_length=5,
        blank=True,
        validators=[day_of_the_year],
        help_text="Last day roads are salted, as month-day such as 03-31; before the first one: in the next year.",
    )
    so2_deposition_mg_m2_day = models.FloatField(default=5.0)
    chloride_deposition_mg_m2_day = models.FloatField(default=3.0)
    pencil_hold_minutes = models.PositiveIntegerField(
        default=1440, help_text="A pencilled visit lapses after this unless it is confirmed."
    )
    booking_notice_minutes = models.PositiveIntegerField(default=720)
    quiet_from = models.TimeField(default="19:00", help_text="Reminders wait overnight from here …")
    quiet_until = models.TimeField(default="09:00", help_text="… until here.")
    recall_lead_days = models.PositiveSmallIntegerField(default=28, help_text="Days between notice and proposed day.")
    most_notices_a_day = models.PositiveSmallIntegerField(
        default=2, help_text="To one rider. What can wait yields; word of a booked visit always goes."
    )
    all_well_after_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        default=7,
        help_text="Days after collection until we ask whether all is well; empty: never.",
    )
    morning_mail_at = models.TimeField(
        null=True, blank=True, default="07:00", help_text="When the day ahead is mailed to ourselves; empty: never."
    )
    morning_mail_also_to = models.CharField(
        max_length=300, blank=True, help_text="Addresses besides the shop's own, with commas between."
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="one_shop"),
            models.CheckConstraint(
                condition=models.Q(salt_season_from="", salt_season_to="")
                | ~models.Q(salt_season_from="") & ~models.Q(salt_season_to=""),
                name="salt_season_has_both_ends",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """A season has both ends or none; the one that is missing is named."""
        for field, other in (("salt_season_from", "salt_season_to"), ("salt_season_to", "salt_season_from")):
            if getattr(self, other) and not getattr(self, field):
                raise ValidationError({field: _("Give the first and the last day, or neither.")})

    @property
    def zone(self) -> ZoneInfo:
        """The zone every time is shown in."""
        return ZoneInfo(self.time_zone)


class ClimateMonth(models.Model):
    """Monthly means at the shop; twelve rows make the climate the estimate uses."""

    month = models.PositiveSmallIntegerField(unique=True)
    temperature_c = models.FloatField()
    relative_humidity_percent = models.FloatField()
    minimum_temperature_c = models.FloatField()
    frost_days = models.FloatField(null=True, blank=True)
    source = models.CharField(max_length=200, help_text="Where the figures are from.")

    class Meta:
        ordering = ["month"]
        constraints = [
            models.CheckConstraint(condition=models.Q(month__gte=1, month__lte=12), name="climate_month_is_a_month")
        ]

    def __str__(self) -> str:
        return f"{self.month}: {self.temperature_c} °C"


class OpeningHours(models.Model):
    """When work can be done on one weekday; no row means closed."""

    weekday = models.PositiveSmallIntegerField(choices=WEEKDAY, unique=True)
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering = ["weekday"]
        verbose_name_plural = _("opening hours")
        constraints = [
            models.CheckConstraint(condition=models.Q(opens__lt=models.F("closes")), name="opens_before_closing")
        ]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.opens:%H:%M}–{self.closes:%H:%M}"


class Closure(models.Model):
    """A day off, for every bay."""

    day = models.DateField(unique=True)
    reason = models.CharField(max_length=120)

    class Meta:
        ordering = ["day"]

    def __str__(self) -> str:
        return f"{self.day}: {self.reason}"


class Bay(models.Model):
    """A place where one bike is worked on. Later also people and parking: each is claimed alike."""

    class Kind(models.TextChoices):
        BAY = "bay", _("bay")
        PERSON = "person", _("person")
        PARKING = "parking", _("parking place")

    name = models.CharField(max_length=60, unique=True)
    kind = models.CharField(max_length=10, choices=Kind, default=Kind.BAY)
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.name


class DiaryDay(models.Model):
    """One row per day, locked in date order before claims are written, so that two writers never cross."""

    day = models.DateField(primary_key=True)

    def __str__(self) -> str:
        return self.day.isoformat()
