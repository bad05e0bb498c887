"""Tables people bring: whatever is written is read back the same, and one wrong cell is named by line and column."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bookings.rules.errors import InputErrors
from reminders.protection.documents import read_request
from reminders.protection.tables import LONGEST_TABLE_LINES
from reminders.protection.types import Climate, Observation
from reminders.protection.weather_files import DAY_COLUMNS, MONTH_COLUMNS, read_days, read_months

TODAY = date(2026, 2, 2)
SEPARATORS = st.sampled_from([",", ";", "\t"])


def tenths(low: float, high: float) -> st.SearchStrategy[float]:
    return st.integers(round(low * 10), round(high * 10)).map(lambda count: count / 10)


@st.composite
def observed(draw: st.DrawFn) -> list[Observation]:
    ages = draw(st.lists(st.integers(0, 20_000), min_size=1, max_size=12, unique=True))
    days = []
    for age in ages:
        mean = draw(tenths(-40, 40))
        lowest = mean - draw(tenths(0, 20))
        days.append(Observation(TODAY - timedelta(days=age), mean, round(lowest, 1), draw(tenths(5, 100))))
    return days


def cells_of(day: Observation) -> list[str]:
    figures = (day.temperature_c, day.minimum_temperature_c, day.relative_humidity_percent)
    return [day.on.isoformat(), *(str(figure) for figure in figures)]


def table(rows: list[list[str]], separator: str, comma: bool) -> list[str]:
    if comma and separator != ",":
        rows = [[cells[0], *(cell.replace(".", ",") for cell in cells[1:])] for cells in rows]
    return [separator.join(DAY_COLUMNS), *(separator.join(cells) for cells in rows)]


@given(observed(), SEPARATORS, st.booleans())
def test_what_is_written_is_read_back(days: list[Observation], separator: str, comma: bool) -> None:
    lines = table([cells_of(day) for day in days], separator, comma)
    assert read_days(lines, TODAY) == tuple(sorted(days, key=lambda day: day.on))
    spaced = ["\ufeff" + lines[0].upper(), "# from the roof", "", *(f" {line} \r\n" for line in lines[1:])]
    assert read_days(spaced, TODAY) == read_days(lines, TODAY)


@given(
    observed(),
    st.data(),
    st.sampled_from(["", "x", "nan", "inf", "1e999", "1_0", "0x10", "--3", "999", "２０", "2026-13-01", "-"]),
)
def test_one_wrong_cell_is_named_and_no_other(days: list[Observation], data: st.DataObject, wrong: str) -> None:
    rows = [cells_of(day) for day in days]
    row, column = data.draw(st.integers(0, len(rows) - 1)), data.draw(st.integers(0, len(DAY_COLUMNS) - 1))
    rows[row][column] = wrong
    with pytest.raises(InputErrors) as refused:
        read_days(table(rows, ",", False), TODAY)
    assert [error.field for error in refused.value.errors] == [f"line {row + 2}, {DAY_COLUMNS[column]}"]


@given(st.permutations(range(12)), st.booleans(), SEPARATORS)
def test_months_come_in_any_order(order: list[int], frost: bool, separator: str) -> None:
    names = [*MONTH_COLUMNS, *(["frost_days"] if frost else [])]
    rows = [[str(month + 1), str(month / 2), str(month / 2 - 3), "80", *(["2"] if frost else [])] for month in order]
    found = read_months([separator.join(names), *(separator.join(row) for row in rows)])
    halves = tuple(month / 2 for month in range(12))
    assert found == Climate(halves, (80.0,) * 12, tuple(half - 3 for half in halves), (2.0,) * 12 if frost else None)


MONTHS = [",".join(MONTH_COLUMNS), *(f"{month},8,2,80" for month in range(1, 13))]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (MONTHS[:-1], [("month", "missing: 12")]),
        ([*MONTHS, "3,8,2,80"], [("line 14, month", "3 stands already in line 4")]),
        ([*MONTHS[:5], "5,8,9,80", *MONTHS[6:]], [("line 6, minimum_temperature_c", "must not lie above the mean")]),
        ([*MONTHS[:5], "0,8,2,80", *MONTHS[6:]], [("line 6, month", "must be 1 to 12, not “0”")]),
        (
            [MONTHS[0] + ",frost_days", *(line + ",3" for line in MONTHS[1:-1]), MONTHS[-1] + ","],
            [("line 13, frost_days", "is empty")],
        ),
        ([], [("line 1", "a header is missing")]),
        ([MONTHS[0] + ",month"], [("line 1", "the column month stands twice in the header")]),
    ],
)
def test_months_that_are_refused(lines: list[str], said: list[tuple[str, str]]) -> None:
    with pytest.raises(InputErrors) as refused:
        read_months(lines)
    for (field, message), error in zip(said, refused.value.errors, strict=True):
        assert error.field == field and error.message.startswith(message)


def test_a_table_has_an_end() -> None:
    with pytest.raises(InputErrors) as refused:
        read_days([",".join(DAY_COLUMNS), *("2026-01-01,1,1,80" for _ in range(LONGEST_TABLE_LINES))], TODAY)
    assert refused.value.errors[0].field == f"line {LONGEST_TABLE_LINES + 1}"


# The same days in the document a schedule keeps


def document(**observed_days: object) -> dict[str, object]:
    months = {
        "temperature_c": [8.0] * 12,
        "relative_humidity_percent": [80.0] * 12,
        "minimum_temperature_c": [2.0] * 12,
    }
    known = {"climate": months, "road_salt": "none", "storage": "outside", "riding_months": [1], "coats": []}
    rest = {"so2_deposition_mg_m2_day": 5, "chloride_deposition_mg_m2_day": 3, "km_per_year": 1, "washes_per_year": 1}
    return {**known, **rest, "as_of": "2026-02-02", **({"observed": observed_days} if observed_days else {})}


@given(observed())
def test_a_document_keeps_observed_days_by_columns(days: list[Observation]) -> None:
    columns = {
        name: [getattr(day, name) for day in days]
        for name in ("temperature_c", "minimum_temperature_c", "relative_humidity_percent")
    }
    read = read_request(document(on=[day.on.isoformat() for day in days], **columns))
    assert read.site.observed == tuple(days)
    assert read_request(document()).site.observed == ()


@pytest.mark.parametrize(
    ("columns", "field"),
    [
        ({"on": ["2026-01-01"], "temperature_c": [], "minimum_temperature_c": [1]}, "observed.temperature_c"),
        ({"on": ["2026-1-1"]}, "observed.on[0]"),
        ({"on": ["2026-01-01"], "temperature_c": [99]}, "observed[0].temperature_c"),
        ({"on": ["2026-01-01"], "temperature_c": ["warm"]}, "observed.temperature_c[0]"),
        ({"rain": [1]}, "observed.rain"),
    ],
)
def test_observed_days_that_are_refused(columns: dict[str, list[object]], field: str) -> None:
    sound = {
        "on": ["2026-01-01"],
        "temperature_c": [5],
        "minimum_temperature_c": [1],
        "relative_humidity_percent": [80],
    }
    with pytest.raises(InputErrors) as refused:
        read_request(document(**sound | columns))
    assert [error.field for error in refused.value.errors] == [field]
