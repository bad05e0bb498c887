"""What is known of the place and of the numbers behind every estimate."""

from __future__ import annotations

from typing import Any, NoReturn

from django.db import models


class ParameterChange(models.Model):
    """One number of the estimate set by the shop. History: rows are added and never altered; the newest rules."""

    key = models.CharField(max_length=60, help_text="As in the table of the model, such as coat.wax.life_km.")
    value = models.FloatField(null=True, blank=True, help_text="Empty: back to the value of the table.")
    since = models.DateTimeField()
    by = models.CharField(max_length=150)
    why = models.CharField(max_length=200)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["key"])]
        constraints = [models.CheckConstraint(condition=~models.Q(why=""), name="a_change_has_a_reason")]

    def __str__(self) -> str:
        return f"{self.key}: {'back to the table' if self.value is None else f'{self.value:g}'}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Write a new row; one that stands is history."""
        if self.pk is not None:
            raise TypeError("a change of a parameter is history; write another one")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refused: schedules were computed with it."""
        raise TypeError("a change of a parameter is history and stays")


class WeatherDay(models.Model):
    """What was measured in the open air on one past day; it takes the place of the month's normals."""

    day = models.DateField(primary_key=True)
    temperature_c = models.FloatField(help_text="Mean of the day.")
    minimum_temperature_c = models.FloatField()
    relative_humidity_percent = models.FloatField(help_text="Mean of the day.")
    source = models.CharField(max_length=200, help_text="Where the figures are from.")
    read_at = models.DateTimeField(help_text="When the row was written or last altered.")

    class Meta:
        ordering = ["day"]

    def __str__(self) -> str:
        return f"{self.day}: {self.temperature_c} °C"
