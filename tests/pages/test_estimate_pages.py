"""The pages of the place and of the numbers: what is refused and in which words, what is kept, who may come in."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from bookings.models import ClimateMonth, Shop
from reminders import selectors
from reminders.models import ParameterChange, WeatherDay
from reminders.protection.parameter_table import DEFAULTS, PUBLISHED
from reminders.text import number

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 2, 2, 9, 0, tzinfo=UTC)
AT = {"X-Rimebook-Now": NOW.isoformat()}
KEY = "coat.clear_film.nominal_life_days"
ONE = f"/workbench/estimate/parameters/{KEY}/"
BRING = "/workbench/climate/import/"
DAYS = "date,temperature_c,minimum_temperature_c,relative_humidity_percent\n2026-01-30,2.5,-1,88\n2026-01-31,4,0.5,91\n"


def words(content: bytes) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", content.decode())))


def months_table(separator: str = ",", decimal: str = ".") -> str:
    lines = [separator.join(("month", "temperature_c", "minimum_temperature_c", "relative_humidity_percent"))]
    for month in range(12, 0, -1):
        lines.append(separator.join((str(month), f"{month}{decimal}5", f"{month - 3}{decimal}0", "80")))
    return "\n".join(lines)


def bring(client: Client, **given: object) -> tuple[int, str]:
    answer = client.post(BRING, {"kind": "days", "source": "own thermometer", **given}, headers=AT)
    return answer.status_code, words(answer.content)


@pytest.mark.parametrize("address", ["/workbench/climate/", BRING, "/workbench/estimate/parameters/", ONE])
def test_only_staff_come_in(shop_world: Shop, client: Client, staff_client: Client, address: str) -> None:
    assert client.get(address).status_code == 302
    assert client.post(address).status_code in (302, 405)
    assert staff_client.get(address, headers=AT).status_code == 200


# One number


def test_a_number_is_changed_with_a_reason_and_set_back(shop_world: Shop, staff_client: Client) -> None:
    answer = staff_client.post(ONE, {"value": "150", "why": "ten bikes lasted longer"}, headers=AT, follow=True)
    assert "changed; the table has 130 days" in words(answer.content)
    assert selectors.parameters_in_force()[KEY] == 150
    change = ParameterChange.objects.get()
    assert (change.since, change.by, change.why) == (NOW, "morgan", "ten bikes lasted longer")
    page = words(staff_client.get(ONE, headers=AT).content)
    assert "150 days" in page and "ten bikes lasted longer" in page and "Set back to 130 days" in page
    staff_client.post(f"{ONE}set-back/", headers=AT)
    staff_client.post(f"{ONE}set-back/", headers=AT)
    assert selectors.parameters_in_force()[KEY] == 130
    assert [change.value for change in selectors.parameter_changes()] == [None, 150]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"value": "0", "why": "x"}, "It must lie from 1 to 20,000 days."),
        ({"value": "nan", "why": "x"}, "Enter a number."),
        ({"value": "1_000", "why": "x"}, "Enter a number."),
        ({"value": "130", "why": "x"}, "Is in force already."),
        ({"value": "140", "why": "  "}, "This field is required."),
        ({"value": "", "why": "because"}, "This field is required."),
    ],
)
def test_a_refused_number_is_told_at_the_field(
    shop_world: Shop, staff_client: Client, given: dict[str, str], said: str
) -> None:
    answer = staff_client.post(ONE, given, headers=AT)
    assert answer.status_code == 422 and said in words(answer.content)
    assert f'value="{given["value"]}"' in answer.content.decode() or not given["value"]
    assert not ParameterChange.objects.exists()


def test_an_unknown_number_is_nowhere(shop_world: Shop, staff_client: Client) -> None:
    for method in (staff_client.get, staff_client.post):
        assert method("/workbench/estimate/parameters/coat.tar.life_km/").status_code == 404
    assert staff_client.post("/workbench/estimate/parameters/coat.tar.life_km/set-back/").status_code == 404
    assert staff_client.get(f"{ONE}set-back/").status_code == 405


def test_a_comma_before_decimals_is_read(shop_world: Shop, staff_client: Client) -> None:
    key = "brine.washed_off_share"
    staff_client.post(f"/workbench/estimate/parameters/{key}/", {"value": "0,8", "why": "tried"}, headers=AT)
    assert selectors.parameters_in_force()[key] == 0.8


# Twelve months


def form_of(climate_page: bytes) -> dict[str, str]:
    fields = re.findall(r'<input [^>]*name="([a-z_0-9]+)"[^>]*value="([^"]*)"', climate_page.decode())
    return {
        **{f"frost_days_{month}": "" for month in range(1, 13)},
        **{name: unescape(value) for name, value in fields if name != "csrfmiddlewaretoken"},
    }


def test_the_form_shows_what_is_known_and_keeps_it_as_it_is(shop_world: Shop, staff_client: Client) -> None:
    before = list(ClimateMonth.objects.values())
    given = form_of(staff_client.get("/workbench/climate/", headers=AT).content)
    assert len(given) == 12 * 4 + 1
    answer = staff_client.post("/workbench/climate/", given, headers=AT)
    assert answer.status_code == 302
    assert list(ClimateMonth.objects.values()) == before


def test_months_are_refused_at_their_field_and_nothing_is_lost(shop_world: Shop, staff_client: Client) -> None:
    given = form_of(staff_client.get("/workbench/climate/", headers=AT).content)
    before = list(ClimateMonth.objects.values())
    wrong = given | {"temperature_c_4": "54", "minimum_temperature_c_7": "40", "frost_days_2": "", "frost_days_3": "9"}
    answer = staff_client.post("/workbench/climate/", wrong, headers=AT)
    page = words(answer.content)
    assert answer.status_code == 422
    assert "frost" in page and "Give them for all twelve months, or for none." in page
    answer = staff_client.post("/workbench/climate/", wrong | {f"frost_days_{n}": "" for n in range(1, 13)}, headers=AT)
    page = words(answer.content)
    assert "April: mean, °C – Must be a number from -60 to 45, not 54." in page
    assert 'value="54"' in answer.content.decode()
    assert list(ClimateMonth.objects.values()) == before


def test_a_shop_without_a_climate_is_asked_for_it(shop_world: Shop, staff_client: Client) -> None:
    ClimateMonth.objects.filter(month__gt=2).delete()
    page = words(staff_client.get("/workbench/climate/", headers=AT).content)
    assert "has 2 of 12 months" in page


@pytest.mark.parametrize(("separator", "decimal"), [(",", "."), (";", ","), ("\t", ",")])
def test_twelve_months_come_in_as_a_table(shop_world: Shop, staff_client: Client, separator: str, decimal: str) -> None:
    given = {"kind": "months", "source": "station Ostrel", "table": months_table(separator, decimal)}
    status, page = bring(staff_client, **given)
    assert status == 200 and "Nothing has been written yet." in page and "1.5 °C" in page
    assert ClimateMonth.objects.get(month=1).temperature_c != 1.5
    answer = staff_client.post(BRING, given | {"step": "write"}, headers=AT)
    assert answer.status_code == 302
    january = ClimateMonth.objects.get(month=1)
    assert (january.temperature_c, january.minimum_temperature_c, january.source) == (1.5, -2.0, "station Ostrel")
    assert january.frost_days is None


# Measured days


def test_days_are_looked_at_then_written_and_a_second_time_change_nothing(
    shop_world: Shop, staff_client: Client
) -> None:
    status, page = bring(staff_client, table=DAYS)
    assert status == 200 and "New 2 Different from before 0 Known already 0" in page
    assert not WeatherDay.objects.exists()
    answer = staff_client.post(
        BRING, {"kind": "days", "source": "own", "table": DAYS, "step": "write"}, headers=AT, follow=True
    )
    assert "2 days are new or different." in words(answer.content)
    status, page = bring(staff_client, table=DAYS.replace("2.5", "3.5"))
    assert "New 0 Different from before 1 Known already 1" in page
    status, page = bring(staff_client, table=DAYS, step="write")
    assert status == 302 and set(WeatherDay.objects.values_list("read_at", flat=True)) == {NOW}


def test_a_file_is_read_and_comes_back_in_the_box_when_refused(shop_world: Shop, staff_client: Client) -> None:
    upload = SimpleUploadedFile("days.csv", b"\xef\xbb\xbf" + DAYS.replace("88", "880").encode())
    answer = staff_client.post(BRING, {"kind": "days", "source": "own", "file": upload}, headers=AT)
    assert answer.status_code == 422
    page = words(answer.content)
    assert "Line 2, relative_humidity_percent: must be a number from 5 to 100, not 880." in page
    assert "2026-01-31,4,0.5,91" in page
    for content, said in ((b"\xff\xfe\x00x", "not plain text in UTF-8"), (b"x" * 1_000_001, "larger than")):
        upload = SimpleUploadedFile("days.csv", content)
        answer = staff_client.post(BRING, {"kind": "days", "source": "own", "file": upload}, headers=AT)
        assert answer.status_code == 422 and said in words(answer.content)


def test_one_wrong_line_keeps_the_whole_table_out(shop_world: Shop, staff_client: Client) -> None:
    table = DAYS + "2026-01-31,1,0,80\n2026-02-30,1,0,80\n2026-02-03,1,0,80\n2026-01-29,1,2,80\n2026-01-28,,0,eighty\n"
    status, page = bring(staff_client, table=table, step="write")
    assert status == 422 and not WeatherDay.objects.exists()
    for said in (
        "Line 4, date: 2026-01-31 stands already in line 3.",
        "Line 5, date: must be a day written YYYY-MM-DD, not “2026-02-30”.",
        "Line 6, date: 2026-02-03 has not been yet.",
        "Line 7, minimum_temperature_c: must not lie above the mean temperature of the day.",
        "Line 8, temperature_c: is empty.",
        "Line 8, relative_humidity_percent: must be a number, not “eighty”.",
    ):
        assert said in page, said


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("", "Choose a file, or paste the table in here."),
        ("2026-01-30,2,1,88", "the column date is missing from the header"),
        (DAYS.partition("\n")[0], "no day follows the header"),
        (DAYS.replace("date,", "date,rain,"), "the column “rain” is not known"),
        (DAYS.replace(",91", ",91,7"), "Line 3: has 5 cells, but the header has 4."),
        (DAYS.partition("\n")[0] + "\n" + "x,1,1,90\n" * 50, "And 20 more."),
        ("# a remark\n\n" + DAYS.replace("88", ""), "Line 4, relative_humidity_percent: is empty."),
    ],
)
def test_tables_that_cannot_be_read(shop_world: Shop, staff_client: Client, table: str, said: str) -> None:
    status, page = bring(staff_client, table=table)
    assert status == 422 and said in page


def test_from_the_preview_one_can_go_back_to_the_table(shop_world: Shop, staff_client: Client) -> None:
    status, page = bring(staff_client, table=DAYS, step="edit")
    assert status == 200 and "2026-01-31,4,0.5,91" in page and "Please check this" not in page


def test_days_are_taken_out_again(shop_world: Shop, staff_client: Client) -> None:
    bring(staff_client, table=DAYS, step="write")
    forget = "/workbench/climate/forget/"
    answer = staff_client.post(forget, {"first": "2026-01-31", "last": "2026-01-30"}, headers=AT)
    assert answer.status_code == 422 and "lies before the first" in words(answer.content)
    answer = staff_client.post(forget, {"first": "2026-01-31", "last": "2026-02-10"}, headers=AT, follow=True)
    assert "1 day was taken out." in words(answer.content)
    assert [day.isoformat() for day in WeatherDay.objects.values_list("day", flat=True)] == ["2026-01-30"]


# For everybody


def test_the_public_page_shows_every_number_with_what_it_stands_on(
    shop_world: Shop, client: Client, staff_client: Client
) -> None:
    staff_client.post(ONE, {"value": "150", "why": "ten bikes lasted longer"}, headers=AT)
    answer = client.get("/how-we-estimate/", headers=AT)
    page = words(answer.content)
    assert answer.status_code == 200
    for row in DEFAULTS.rows:
        assert row.meaning[1:] in page and row.source in page, row.key
        assert row.key == KEY or number(row.value, row.unit) in page
    for row in PUBLISHED:
        assert number(row.value) in page and row.source in page
    assert "Changed by the workshop on 2 February 2026; the table has 130 days. Why: ten bikes lasted longer" in page
    assert "morgan" not in page
    for said in ("second-hand", "estimate and not a promise", "What it does not know", "invented"):
        assert said in page, said


def test_the_public_page_stands_before_the_shop_does(db: None, client: Client) -> None:
    page = words(client.get("/how-we-estimate/").content)
    assert "has not given its climate yet" in page
