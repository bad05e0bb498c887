"""The JSON documents of the forecast and corrosivity commands, read with every error at its field, and written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import date
from math import nan
from typing import Any

from bookings.rules.reading import Reader
from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from reminders.protection.bounds import KM_READING
from reminders.protection.corrosivity import Corrosivity, Metal, corrosivity
from reminders.protection.types import Climate, Coat, Forecast, MonthDay, Observation, Reading, Site, Tour, Use

StationLookup = Callable[[str], Climate | None]
MONTHLY = ("temperature_c", "relative_humidity_percent", "minimum_temperature_c")
DEPOSITIONS = ("so2_deposition_mg_m2_day", "chloride_deposition_mg_m2_day")
AIR = ("temperature_c", "relative_humidity_percent", *DEPOSITIONS)
REQUIRED = (
    *("climate", "road_salt", *DEPOSITIONS, "storage", "riding_months"),
    *("km_per_year", "washes_per_year", "coats", "as_of"),
)
OPTIONAL = ("tours", "odometer", "washed_on", "observed", "salt_season")
LEARNT_OR_KNOWN = ("nominal_life_days", "log_rate", "log_rate_sd")
LONGEST_LIST = 2000
# The oldest coat a forecast takes is twenty years old.
LONGEST_WEATHER = 21 * 366
# Takes the place of a day that was refused, so that what stands beside it is looked at too.
_STAND_IN = date(2000, 1, 1)


@dataclass(frozen=True)
class Request:
    """All that `due.forecast` takes from a document."""

    site: Site
    use: Use
    coats: tuple[Coat, ...]
    as_of: date


def no_stations(name: str) -> Climate | None:
    """The lookup of a shop that has imported no station."""
    return None


def read_request(document: object, station: StationLookup = no_stations) -> Request:
    """The forecast command's document → what `due.forecast` takes. Raises InputErrors with dotted field names."""
    reader = Reader()
    top = reader.record(document, "", REQUIRED, OPTIONAL)
    if not isinstance(document, dict):
        reader.finish()
    site = _site(reader, top, station)
    use = _use(reader, top)
    coats = [_coat(reader, *member) for member in reader.items(top.get("coats"), "coats", LONGEST_LIST)]
    as_of = reader.day(top.get("as_of"), "as_of")
    reader.finish()
    assert site and use and as_of and all(coats)  # nothing was refused, so everything was built
    return Request(site, use, tuple(coat for coat in coats if coat), as_of)


def _number(reader: Reader, value: object, field: str) -> float:
    """A number for a type that knows its bounds, and tells of the others beside it even where this one was refused."""
    found = reader.number(value, field)
    return nan if found is None else float(found)


def _site(reader: Reader, top: dict[str, Any], station: StationLookup) -> Site | None:
    return reader.build(
        *("", Site),
        climate=_climate(reader, top.get("climate"), station),
        road_salt=reader.choice(top.get("road_salt"), "road_salt", RoadSalt) or RoadSalt.NONE,
        **{name: _number(reader, top.get(name), name) for name in DEPOSITIONS},
        salt_season=None if top.get("salt_season") is None else _season(reader, top["salt_season"]),
        observed=_observed(reader, top["observed"]) if "observed" in top else (),
    )


def _season(reader: Reader, value: object) -> tuple[MonthDay, MonthDay] | None:
    parts = reader.record(value, "salt_season", ("from", "to"))
    if not parts:
        return None
    first, last = (reader.month_day(parts.get(end), f"salt_season.{end}") for end in ("from", "to"))
    return None if first is None or last is None else (first, last)


def _observed(reader: Reader, value: object) -> tuple[Observation, ...]:
    """Observed days by columns, as the climate is: `on` and a list of equal length for each of MONTHLY."""
    parts = reader.record(value, "observed", ("on", *MONTHLY))
    days = [reader.day(*on) for on in reader.items(parts.get("on"), "observed.on", LONGEST_WEATHER)]
    columns: list[list[Any]] = [days]
    for name in MONTHLY:
        members = reader.items(parts.get(name), f"observed.{name}", LONGEST_WEATHER)
        columns.append([reader.number(*member) for member in members])
        if len(members) != len(days):
            reader.refuse(f"observed.{name}", "must be as long as observed.on")
    if any(len(column) != len(days) or None in column for column in columns):
        return ()
    built = [
        reader.build(f"observed[{index}]", Observation, on=day, **dict(zip(MONTHLY, numbers, strict=True)))
        for index, (day, *numbers) in enumerate(zip(*columns, strict=True))
    ]
    return tuple(day for day in built if day)


def _climate(reader: Reader, value: object, station: StationLookup) -> Climate | None:
    if isinstance(value, dict) and "station" in value:
        return _station(reader, value, station)
    parts = reader.record(value, "climate", MONTHLY, ("frost_days",))
    if not parts:
        return None
    columns: dict[str, Any] = {
        name: tuple(
            _number(reader, *member) for member in reader.items(parts.get(name), f"climate.{name}", LONGEST_LIST)
        )
        for name in (*MONTHLY, "frost_days")
        if name in MONTHLY or parts.get(name) is not None
    }
    return reader.build("climate", Climate, **columns)


def _station(reader: Reader, value: dict[str, Any], station: StationLookup) -> Climate | None:
    name = reader.record(value, "climate", ("station",)).get("station")
    found = station(name) if isinstance(name, str) else None
    if found is None:
        reader.refuse("climate.station", "is no station this shop has imported; give its twelve monthly rows instead")
    return found


def _use(reader: Reader, top: dict[str, Any]) -> Use | None:
    months = [
        reader.whole(*month, 1, 12) for month in reader.items(top.get("riding_months"), "riding_months", LONGEST_LIST)
    ]
    lists = {name: reader.items(top.get(name, []), name, LONGEST_LIST) for name in ("tours", "odometer", "washed_on")}
    odometer = [_reading(reader, *member) for member in lists["odometer"]]
    return reader.build(
        *("", Use),
        storage=reader.choice(top.get("storage"), "storage", Storage) or Storage.OUTSIDE,
        riding_months=frozenset(month for month in months if month),
        km_per_year=_number(reader, top.get("km_per_year"), "km_per_year"),
        washes_per_year=_number(reader, top.get("washes_per_year"), "washes_per_year"),
        tours=tuple(filter(None, [_tour(reader, *member) for member in lists["tours"]])),
        odometer=tuple(mark for mark in odometer if mark) if all(odometer) else (),
        washed_on=tuple(filter(None, [reader.day(*member) for member in lists["washed_on"]])),
    )


def _tour(reader: Reader, value: object, field: str) -> Tour | None:
    parts = reader.record(value, field, ("from", "to", "km", "salted"))
    if not parts:
        return None
    salted = parts.get("salted")
    if not isinstance(salted, bool):
        reader.refuse(f"{field}.salted", "must be true or false")
    first, last = (reader.day(parts.get(name), f"{field}.{name}") for name in ("from", "to"))
    km = reader.number(parts.get("km"), f"{field}.km")
    if first is None or last is None or km is None or not isinstance(salted, bool):
        return None
    return reader.build(field, Tour, from_=first, to=last, km=km, salted=salted)


def _reading(reader: Reader, value: object, field: str) -> Reading | None:
    parts = reader.record(value, field, ("on", "km"))
    if not parts:
        return None
    on = reader.day(parts.get("on"), f"{field}.on")
    km = reader.number(parts.get("km"), f"{field}.km", *KM_READING)
    return None if on is None or km is None else reader.build(field, Reading, on=on, km=km)


def _coat(reader: Reader, value: object, field: str) -> Coat | None:
    parts = reader.record(value, field, ("zone", "coat", "applied_on"), LEARNT_OR_KNOWN)
    if not parts:
        return None
    return reader.build(
        *(field, Coat),
        zone=reader.choice(parts.get("zone"), f"{field}.zone", Zone) or Zone.FRAME,
        kind=reader.choice(parts.get("coat"), f"{field}.coat", CoatKind) or CoatKind.WAX,
        applied_on=reader.day(parts.get("applied_on"), f"{field}.applied_on") or _STAND_IN,
        **{
            name: _number(reader, parts[name], f"{field}.{name}")
            for name in LEARNT_OR_KNOWN
            if parts.get(name) is not None
        },
    )


def forecast_document(forecast: Forecast) -> dict[str, Any]:
    """A forecast as the forecast command prints it: dates ISO 8601, None where there is none."""
    season = forecast.salt_season
    return {
        "coats": [
            {
                "zone": coat.zone.value,
                "coat": coat.kind.value,
                "applied_on": _iso(coat.applied_on),
                "protection_left": coat.protection_left,
                "due_early": _iso(coat.due_early),
                "due_likely": _iso(coat.due_likely),
                "due_late": _iso(coat.due_late),
                "act_by": _iso(coat.act_by),
                "wear_share": asdict(coat.wear_share),
                "extrapolated": coat.extrapolated,
            }
            for coat in forecast.coats
        ],
        "salt_season": season and {"from": _iso(season.from_), "to": _iso(season.to)},
        "model_version": forecast.model_version,
    }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def read_corrosivity(document: object) -> Corrosivity:
    """The corrosivity command's document → the losses of its place. Raises InputErrors."""
    reader = Reader()
    given = reader.record(document, "", AIR)
    if not isinstance(document, dict):
        reader.finish()
    answer = reader.build("", corrosivity, **{name: _number(reader, given.get(name), name) for name in AIR})
    reader.finish()
    assert answer is not None  # nothing was refused, so it was built
    return answer


def corrosivity_document(answer: Corrosivity) -> dict[str, Any]:
    """Losses as the corrosivity command prints them; aluminium by mass, the others by thickness."""
    units = {metal: "g_m2_per_year" if metal is Metal.ALUMINIUM else "um_per_year" for metal in Metal}
    losses = {metal.value: {units[metal]: answer.rates[metal], "category": answer.categories[metal]} for metal in Metal}
    return {**losses, "extrapolated": answer.extrapolated}
