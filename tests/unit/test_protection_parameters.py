"""The table of parameters and a shop's own normals."""

from __future__ import annotations

import pytest

from bookings.rules.errors import InputErrors
from bookings.rules.safety import COATED_ZONES, NEVER_COATED
from bookings.rules.types import CoatKind, RoadSalt
from reminders.protection.normals import COLUMNS, read_normals
from reminders.protection.parameter_table import DEFAULTS, PUBLISHED
from reminders.protection.parameters import Parameters
from reminders.protection.types import Climate
from tests.parts.climates import MARITIME


def test_every_row_says_what_it_is_and_where_it_comes_from() -> None:
    for row in (*DEFAULTS.rows, *PUBLISHED):
        assert row.meaning and row.unit and row.source
        assert row.low <= row.value <= row.high


def test_published_figures_stand_beside_those_to_edit() -> None:
    assert len(PUBLISHED) == 36
    assert not {row.key for row in PUBLISHED} & set(DEFAULTS)


def test_every_zone_kind_and_salt_class_has_its_rows() -> None:
    for zone in COATED_ZONES:
        assert DEFAULTS[f"zone.{zone}.spray"] >= 0 and DEFAULTS[f"zone.{zone}.heat"] >= 1
    assert not [key for key in DEFAULTS for zone in NEVER_COATED if key.startswith(f"zone.{zone}.")]
    lives = [DEFAULTS[f"coat.{kind}.nominal_life_days"] for kind in CoatKind]
    assert lives == sorted(lives)
    classes = [DEFAULTS[f"salt.{salt}.deposition"] for salt in RoadSalt if salt is not RoadSalt.NONE]
    assert classes == sorted(classes)


def test_a_shops_own_values_are_checked_and_can_be_told_apart() -> None:
    own = DEFAULTS.with_values({"coat.wax.nominal_life_days": 650.0})
    assert own["coat.wax.nominal_life_days"] == 650.0
    assert own.row("coat.wax.nominal_life_days").basis == "judgement"
    assert own.differences(DEFAULTS) == {"coat.wax.nominal_life_days": 650.0}
    assert DEFAULTS.differences(DEFAULTS) == {}
    assert len(own) == len(DEFAULTS) and own != DEFAULTS and hash(own) != hash(DEFAULTS)
    with pytest.raises(InputErrors) as refused:
        DEFAULTS.with_values({"coat.wax.nominal_life_days": -1})
    assert [error.field for error in refused.value.errors] == ["coat.wax.nominal_life_days"]
    with pytest.raises(InputErrors) as refused:
        DEFAULTS.with_values({"coat.jam.nominal_life_days": 1})
    assert [error.field for error in refused.value.errors] == ["coat.jam.nominal_life_days"]
    with pytest.raises(ValueError, match="twice"):
        Parameters((DEFAULTS.rows[0], DEFAULTS.rows[0]))


def sheet(name: str = "Harbour", frost: bool = True) -> list[str]:
    """MARITIME as a shop would type it."""
    columns = (MARITIME.temperature_c, MARITIME.relative_humidity_percent, MARITIME.minimum_temperature_c)
    counted = MARITIME.frost_days or ()
    rows = [
        ",".join(
            [name, str(month + 1), *(str(column[month]) for column in columns), str(counted[month]) if frost else ""]
        )
        for month in range(12)
    ]
    return ["# typed in from the paper", ",".join(COLUMNS), *rows]


def test_normals_of_several_stations() -> None:
    found = read_normals([*sheet(), *sheet("Hill", frost=False)[2:]])
    assert found["Harbour"] == MARITIME
    assert found["Hill"].frost_days is None


@pytest.mark.parametrize(
    ("line", "text", "field"),
    [
        (1, "station,month", "line 2"),
        (4, "Harbour,13,1,80,0,1", "line 5, month"),
        (4, "Harbour,1,1,80,0,1", "line 5, month"),
        (4, ",3,1,80,0,1", "line 5, station"),
        (4, "Harbour,3,mild,80,0,1", "line 5, temperature_c"),
        (4, "Harbour,3,1", "line 5, relative_humidity_percent"),
        (4, "Harbour,3,1,80,7,1", "Harbour, minimum_temperature_c[2]"),
        (4, "# left out", "Harbour"),
    ],
)
def test_a_wrong_line_is_named(line: int, text: str, field: str) -> None:
    lines = sheet()
    lines[line] = text
    with pytest.raises(InputErrors) as refused:
        read_normals(lines)
    assert field in [error.field for error in refused.value.errors]


def test_climate_from_rows() -> None:
    rows: list[dict[str, float | None]] = [
        {
            "temperature_c": MARITIME.temperature_c[month],
            "relative_humidity_percent": MARITIME.relative_humidity_percent[month],
            "minimum_temperature_c": MARITIME.minimum_temperature_c[month],
        }
        for month in range(12)
    ]
    assert Climate.from_rows(rows).frost_days is None
    rows[4]["temperature_c"] = None
    with pytest.raises(InputErrors) as refused:
        Climate.from_rows(rows)
    assert [error.field for error in refused.value.errors] == ["temperature_c[4]"]
