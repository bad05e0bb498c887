"""The documents of the commands: every error at its field, never a traceback."""

from __future__ import annotations

from copy import deepcopy
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bookings.rules.errors import InputErrors
from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from reminders.protection.documents import (
    corrosivity_document,
    forecast_document,
    read_corrosivity,
    read_request,
)
from reminders.protection.due import forecast, salt_seasons
from reminders.protection.types import Climate, Coat, Reading, Tour
from tests.parts.climates import AIR, MARITIME

ASKED: dict[str, Any] = {
    "climate": {
        "temperature_c": list(MARITIME.temperature_c),
        "relative_humidity_percent": list(MARITIME.relative_humidity_percent),
        "minimum_temperature_c": list(MARITIME.minimum_temperature_c),
        "frost_days": list(MARITIME.frost_days or ()),
    },
    "road_salt": "normal",
    "so2_deposition_mg_m2_day": 5,
    "chloride_deposition_mg_m2_day": 3,
    "storage": "outside",
    "riding_months": [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12],
    "km_per_year": 12000,
    "washes_per_year": 24,
    "coats": [{"zone": "frame", "coat": "heavy_film", "applied_on": "2024-11-01"}],
    "tours": [{"from": "2024-11-03", "to": "2024-11-20", "km": 3000, "salted": True}],
    "as_of": "2024-11-25",
}


def changed(path: str, value: object) -> dict[str, Any]:
    """The document with one value replaced; a path reads like ``coats.0.zone``."""
    document = deepcopy(ASKED)
    place: Any = document
    *way, last = [int(step) if step.isdigit() else step for step in path.split(".")]
    for step in way:
        place = place[step]
    place[last] = value
    return document


def errors_of(document: object) -> dict[str, str]:
    with pytest.raises(InputErrors) as refused:
        asked = read_request(document)
        forecast(asked.site, asked.use, asked.coats, asked.as_of)
    return {error.field: error.message for error in refused.value.errors}


def test_a_request_is_read_whole() -> None:
    document = changed("odometer", [{"on": "2024-11-01", "km": 100}, {"on": "2024-11-25", "km": 3500.5}])
    document["washed_on"] = ["2024-11-21"]
    asked = read_request(document)
    assert asked.site.climate == MARITIME
    assert (asked.site.road_salt, asked.use.storage) == (RoadSalt.NORMAL, Storage.OUTSIDE)
    assert asked.use.tours == (Tour(date(2024, 11, 3), date(2024, 11, 20), 3000.0, salted=True),)
    assert asked.use.odometer == (Reading(date(2024, 11, 1), 100.0), Reading(date(2024, 11, 25), 3500.5))
    assert asked.use.washed_on == (date(2024, 11, 21),)
    assert asked.coats == (Coat(Zone.FRAME, CoatKind.HEAVY_FILM, date(2024, 11, 1)),)
    assert asked.as_of == date(2024, 11, 25)


def test_the_answer_has_the_shape_of_the_contract() -> None:
    asked = read_request(ASKED)
    answer = forecast_document(forecast(asked.site, asked.use, asked.coats, asked.as_of))
    coat = answer["coats"][0]
    assert (coat["zone"], coat["coat"], coat["applied_on"]) == ("frame", "heavy_film", "2024-11-01")
    assert 0 < coat["protection_left"] < 1
    assert coat["due_early"] < coat["due_likely"] < coat["due_late"]
    assert list(coat["wear_share"]) == ["age", "climate", "salt", "riding", "washing"]
    assert sum(coat["wear_share"].values()) == pytest.approx(1)
    assert set(answer["salt_season"]) == {"from", "to"}
    without = forecast_document(
        forecast(read_request(changed("road_salt", "none")).site, asked.use, asked.coats, asked.as_of)
    )
    assert without["salt_season"] is None and without["coats"][0]["act_by"] is None


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        ("climate", None, "climate"),
        ("climate", {"station": "Nowhere"}, "climate.station"),
        ("climate", {"station": ["a"]}, "climate.station"),
        ("climate.temperature_c", [1] * 11, "climate.temperature_c"),
        ("climate.temperature_c", "warm", "climate.temperature_c"),
        ("climate.temperature_c.3", "7", "climate.temperature_c[3]"),
        ("climate.temperature_c.3", True, "climate.temperature_c[3]"),
        ("climate.temperature_c.3", float("nan"), "climate.temperature_c[3]"),
        ("climate.temperature_c.3", 10**400, "climate.temperature_c[3]"),
        ("climate.temperature_c.3", 50, "climate.temperature_c[3]"),
        ("climate.relative_humidity_percent.0", 0.8, "climate.relative_humidity_percent[0]"),
        ("climate.minimum_temperature_c.6", 30, "climate.minimum_temperature_c[6]"),
        ("climate.frost_days.1", 30, "climate.frost_days[1]"),
        ("road_salt", "lots", "road_salt"),
        ("road_salt", [], "road_salt"),
        ("storage", None, "storage"),
        ("so2_deposition_mg_m2_day", -1, "so2_deposition_mg_m2_day"),
        ("chloride_deposition_mg_m2_day", float("inf"), "chloride_deposition_mg_m2_day"),
        ("riding_months", [0], "riding_months[0]"),
        ("riding_months", [1.0], "riding_months[0]"),
        ("riding_months", [True], "riding_months[0]"),
        ("riding_months", [[]], "riding_months[0]"),
        ("riding_months", [], "riding_months"),
        ("riding_months", 5, "riding_months"),
        ("km_per_year", 1e9, "km_per_year"),
        ("km_per_year", None, "km_per_year"),
        ("washes_per_year", {}, "washes_per_year"),
        ("coats", {}, "coats"),
        ("coats", [{}] * 3000, "coats"),
        ("coats.0", "frame", "coats[0]"),
        ("coats.0.zone", "mirror", "coats[0].zone"),
        ("coats.0.zone", "tyres", "coats[0].zone"),
        ("coats.0.coat", {}, "coats[0].coat"),
        ("coats.0.applied_on", "2023-02-29", "coats[0].applied_on"),
        ("coats.0.applied_on", "20241101", "coats[0].applied_on"),
        ("coats.0.applied_on", 20241101, "coats[0].applied_on"),
        ("coats.0.applied_on", "0001-01-01", "coats[0].applied_on"),
        ("coats.0.applied_on", "1980-01-01", "coats[0].applied_on"),
        ("coats.0.nominal_life_days", 0, "coats[0].nominal_life_days"),
        ("coats.0.log_rate", 4, "coats[0].log_rate"),
        ("coats.0.log_rate_sd", "wide", "coats[0].log_rate_sd"),
        ("tours.0.to", "2024-11-02", "tours[0].to"),
        ("tours.0.salted", "yes", "tours[0].salted"),
        ("tours.0.km", -5, "tours[0].km"),
        ("tours.0", {"from": "2024-11-03"}, "tours[0].to"),
        ("odometer", [{"on": "2024-11-01", "km": 5}, {"on": "2024-11-02", "km": 4}], "odometer[1].km"),
        ("odometer", [{"on": "2024-11-01", "km": 5}, {"on": "2024-11-01", "km": 6}], "odometer[1].on"),
        ("odometer", [{"km": "5"}], "odometer[0].km"),
        ("washed_on", ["2024-11-26"], "washed_on[0]"),
        ("as_of", "9999-12-31", "as_of"),
        ("as_of", "2025-W01-1", "as_of"),
        ("tour", [], "tour"),
        ("salt_season", [], "salt_season"),
        ("salt_season", {"from": "11-01"}, "salt_season.to"),
        ("salt_season", {"from": "11-01", "to": "03-31", "on": True}, "salt_season.on"),
        ("salt_season", {"from": "11-31", "to": "03-31"}, "salt_season.from"),
        ("salt_season", {"from": "11-01", "to": "3-31"}, "salt_season.to"),
        ("salt_season", {"from": "11-01", "to": "١٢-01"}, "salt_season.to"),
        ("salt_season", {"from": 1101, "to": "03-31"}, "salt_season.from"),
    ],
)
def test_what_is_wrong_is_said_at_its_field(path: str, value: object, field: str) -> None:
    found = errors_of(changed(path, value))
    assert field in found
    assert all(found.values())


@pytest.mark.parametrize("document", [None, [], "text", 5, True])
def test_only_an_object_is_a_document(document: object) -> None:
    assert list(errors_of(document)) == ["document"]
    with pytest.raises(InputErrors):
        read_corrosivity(document)


def test_everything_wrong_is_said_at_once() -> None:
    document = changed("climate.temperature_c.3", "7")
    document["storage"], document["km_per_year"] = "shed", -1
    document["coats"][0]["zone"] = "seat"
    del document["as_of"]
    assert {*errors_of(document)} == {"climate.temperature_c[3]", "storage", "km_per_year", "coats[0].zone", "as_of"}


def test_missing_keys_are_named() -> None:
    for key in ASKED:
        document = {name: value for name, value in ASKED.items() if name != key}
        if key == "tours":
            assert read_request(document).use.tours == ()
        else:
            assert errors_of(document) == {key: "is missing"}


def test_a_season_across_new_year_takes_the_place_of_the_one_inferred_from_frost() -> None:
    dated = changed("salt_season", {"from": "12-20", "to": "02-29"})
    assert read_request(dated).site.salt_season == ((12, 20), (2, 29))
    asked = read_request(dated)
    answer = forecast_document(forecast(asked.site, asked.use, asked.coats, asked.as_of))
    assert answer["salt_season"] == {"from": "2024-12-20", "to": "2025-02-28"}
    # Frost alone has the roads of this place salted on the day of the forecast already.
    for inferred in (read_request(ASKED), read_request(changed("salt_season", None))):
        assert inferred.site.salt_season is None
        season = forecast(inferred.site, asked.use, asked.coats, asked.as_of).salt_season
        assert season is not None and season.from_ <= asked.as_of


def test_no_season_is_inferred_from_frost_where_one_is_named() -> None:
    asked = read_request(changed("salt_season", {"from": "06-01", "to": "06-30"}))
    runs = [(season.from_, season.to) for season in salt_seasons(asked.site, asked.as_of)]
    assert runs == [(date(year, 6, 1), date(year, 6, 30)) for year in (2024, 2025, 2026)]


def test_a_station_the_shop_has_imported() -> None:
    def lookup(name: str) -> Climate | None:
        return MARITIME if name == "Harbour" else None

    assert read_request(changed("climate", {"station": "Harbour"}), lookup).site.climate == MARITIME


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12) | st.dates().map(str),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
PATHS = [*ASKED, "climate.temperature_c", "climate.frost_days", "coats.0", "coats.0.zone", "coats.0.applied_on"]


@given(
    st.sampled_from([*PATHS, "tours.0", "tours.0.from", "riding_months.0", "odometer", "washed_on", "salt_season"]),
    anything,
)
def test_no_value_anywhere_breaks_the_reading(path: str, value: object) -> None:
    try:
        asked = read_request(changed(path, value))
        answer = forecast(asked.site, asked.use, asked.coats, asked.as_of)
    except InputErrors as refused:
        assert refused.errors
    else:
        assert len(forecast_document(answer)["coats"]) == len(asked.coats)


@given(st.fixed_dictionaries(dict.fromkeys(AIR, anything)))
def test_no_air_breaks_the_reading(document: dict[str, Any]) -> None:
    try:
        answer = corrosivity_document(read_corrosivity(document))
    except InputErrors as refused:
        assert refused.errors
    else:
        assert answer["steel"]["um_per_year"] >= 0


def test_losses_in_their_units() -> None:
    answer = corrosivity_document(read_corrosivity(AIR))
    assert answer["zinc"] == {"um_per_year": pytest.approx(0.6217112857992437), "category": "C2"}
    assert set(answer["aluminium"]) == {"g_m2_per_year", "category"}
    assert answer["extrapolated"] is False
    assert corrosivity_document(read_corrosivity({**AIR, "temperature_c": 35}))["extrapolated"] is True


def test_what_inspections_taught_is_part_of_the_document() -> None:
    taught = {**ASKED["coats"][0], "log_rate": 0.3, "log_rate_sd": 0.2, "nominal_life_days": None}
    [coat] = read_request(changed("coats.0", taught)).coats
    assert (coat.log_rate, coat.log_rate_sd, coat.nominal_life_days) == (0.3, 0.2, None)


def test_a_refused_day_is_not_compared_with_the_others() -> None:
    marks = [{"on": "2024-02-30", "km": 900}, {"on": "1999-12-31", "km": 5}]
    assert list(errors_of(changed("odometer", marks))) == ["odometer[0].on"]


def test_a_long_unknown_name_is_cut_short() -> None:
    assert max(map(len, errors_of(changed("x" * 10_000, 1)))) == 200
