"""What is known of one bike: what its odometer read, where it toured, when it was washed, how its coats were found."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from bookings.models import Bike, CoatApplied

STANDS = Q(taken_back_at__isnull=True)


def once(*fields: str, name: str) -> models.UniqueConstraint:
    """What stands is told once; what was taken back stays for the record and does not count."""
    return models.UniqueConstraint(fields=fields, condition=STANDS, name=name)


class Told(models.Model):
    """Something somebody said about a bike: who and when, and who took it back if it was a mistake."""

    class Teller(models.TextChoices):
        RIDER = "rider", _("the rider")
        STAFF = "staff", _("the workshop")

    bike = models.ForeignKey(Bike, on_delete=models.CASCADE, related_name="+")
    teller = models.CharField(max_length=10, choices=Teller)
    told_by = models.CharField(max_length=150)
    told_at = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.CharField(max_length=150, blank=True)

    class Meta:
        abstract = True


class OdometerReading(Told):
    """What the odometer read on a day, besides the readings at drop-off, which stand in the job record."""

    on = models.DateField()
    km = models.PositiveIntegerField()

    class Meta:
        ordering = ["on", "pk"]
        constraints = [once("bike", "on", name="one_reading_a_day_stands")]

    def __str__(self) -> str:
        return f"{self.km} km on {self.on}"


class Tour(Told):
    """So many km between two days, both included, and whether the roads were salted."""

    first_day = models.DateField()
    last_day = models.DateField()
    km = models.PositiveIntegerField()
    salted = models.BooleanField()

    class Meta:
        ordering = ["first_day", "pk"]
        constraints = [
            once("bike", "first_day", "last_day", "km", "salted", name="a_tour_stands_once"),
            models.CheckConstraint(condition=Q(last_day__gte=F("first_day")), name="a_tour_ends_after_it_starts"),
        ]

    def __str__(self) -> str:
        return f"{self.km} km from {self.first_day} to {self.last_day}"


class Wash(Told):
    """A day on which the bike was washed."""

    on = models.DateField()

    class Meta:
        ordering = ["on", "pk"]
        constraints = [once("bike", "on", name="one_wash_a_day_stands")]

    def __str__(self) -> str:
        return f"washed on {self.on}"


class ZoneFinding(Told):
    """How a zone was found on a returning bike. `coat` is the one on it that should have lasted longest.

    `forecast_worn` is the share of that coat's budget used up by then had the table been right for this bike; it is
    reckoned anew whenever the bike's schedules are.
    """

    coat = models.ForeignKey(CoatApplied, on_delete=models.CASCADE, related_name="findings")
    on = models.DateField()
    rating = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(0), MaxValueValidator(10)], help_text="ISO 10289 rating of the corroded area."
    )
    film_left = models.FloatField(
        null=True, blank=True, help_text="0–1, share where film still sheds water; empty if nobody looked."
    )
    forecast_worn = models.FloatField()
    basis = models.CharField(max_length=64, blank=True, help_text="Fingerprint of what that share was reckoned with.")

    class Meta:
        ordering = ["on", "pk"]
        constraints = [
            once("coat", "on", name="one_finding_a_day_stands"),
            models.CheckConstraint(condition=Q(rating__lte=10), name="ratings_end_at_ten"),
            models.CheckConstraint(
                condition=Q(film_left__isnull=True) | Q(film_left__gte=0, film_left__lte=1), name="film_left_is_a_share"
            ),
            models.CheckConstraint(condition=Q(forecast_worn__gt=0), name="a_coat_found_was_worn"),
        ]

    def __str__(self) -> str:
        return f"{self.coat.get_zone_display()} on {self.on}: rating {self.rating}"
