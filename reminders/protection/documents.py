"""The JSON documents of the forecast and corrosivity commands, read with every error at its field, and written."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from datetime import date
from enum import StrEnum
from math import nan
from typing import Any, TypeVar

from bookings.rules.errors import FieldError, InputErrors
from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from reminders.protection.bounds import refuse
from reminders.protection.corrosivity import Corrosivity, Metal, corrosivity
from reminders.protection.types import Climate, Coat, Forecast, Observation, Reading, Site, Tour, Use

Choice = TypeVar("Choice", bound=StrEnum)
Built = TypeVar("Built")
StationLookup = Callable[[str], Climate | None]
MONTHLY = ("temperature_c", "relative_humidity_percent", "minimum_temperature_c")
DEPOSITIONS = ("so2_deposition_mg_m2_day", "chloride_deposition_mg_m2_day")
AIR = ("temperature_c", "relative_humidity_percent", *DEPOSITIONS)
REQUIRED = (
    *("climate", "road_salt", *DEPOSITIONS, "storage", "riding_months"),
    *("km_per_year", "washes_per_year", "coats", "as_of"),
)
LEARNT_OR_KNOWN = ("nominal_life_days", "log_rate", "log_rate_sd")
LONGEST_LIST = 2000
# The oldest coat a forecast takes is twenty years old.
LONGEST_WEATHER = 21 * 366
_STAND_IN = "2000-01-01"


@dataclass(frozen=True)
class Request:
    """All that `due.forecast` takes from a document."""

    site: Site
    use: Use
    coats: tuple[Coat, ...]
    as_of: date


class _Document:
    """Reads values out of a document and remembers what was wrong with them; a refused value reads as a stand-in."""

    def __init__(self) -> None:
        self.errors: list[FieldError] = []

    def refused(self, field: str, message: str) -> None:
        self.errors.append(FieldError(field, message))

    def mapping(
        self, value: object, field: str, required: Iterable[str], optional: Iterable[str] = ()
    ) -> dict[str, Any]:
        """The object at `field` with only known keys; keys that are missing are refused and absent."""
        if not isinstance(value, dict):
            self.refused(field or "document", "must be an object")
            return {}
        prefix = f"{field}." if field else ""
        required, known = list(required), {*required, *optional}
        for key in required:
            if key not in value:
                self.refused(prefix + key, "is missing")
        for key in value:
            if key not in known:
                shown = (
                    f"{prefix}{key}"[:200].encode("utf-8", "replace").decode()
                )  # a key may hold half a surrogate pair
                self.refused(shown, "is not known here")
        return {key: value[key] for key in value if key in known}

    def items(self, value: object, field: str, longest: int = LONGEST_LIST) -> list[tuple[Any, str]]:
        """The members of the list at `field`, each with its own dotted name."""
        if not isinstance(value, list):
            self.refused(field, "must be a list")
            return []
        if len(value) > longest:
            self.refused(field, f"has more than {longest} members")
            return []
        return [(member, f"{field}[{index}]") for index, member in enumerate(value)]

    def number(self, value: object, field: str) -> float:
        """A JSON number; the type it goes into checks whether it is plausible. Not a number when refused."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refused(field, f"must be a number, not {_named(value)}")
            return nan
        try:
            return float(value)
        except OverflowError:
            self.refused(field, "is too large")
            return nan

    def day(self, value: object, field: str) -> date:
        """A date written YYYY-MM-DD."""
        text = value if isinstance(value, str) and len(value) == 10 and value[4] == value[7] == "-" else ""
        try:
            return date.fromisoformat(text)
        except ValueError:
            self.refused(field, "must be a date that exists, written YYYY-MM-DD")
            return date.fromisoformat(_STAND_IN)

    def choice(self, value: object, field: str, kind: type[Choice]) -> Choice:
        """One of an enumeration's words."""
        if isinstance(value, str) and value in set(kind):
            return kind(value)
        self.refused(field, f"must be one of {', '.join(kind)}")
        return next(iter(kind))

    def build(self, field: str, kind: Callable[..., Built], /, **values: Any) -> Built | None:
        """The checked type; its own refusals move under `field`, save those of values refused already."""
        try:
            return kind(**values)
        except InputErrors as refused:
            prefix, known = f"{field}." if field else "", {error.field for error in self.errors}
            found = [FieldError(prefix + error.field, error.message) for error in refused.errors]
            self.errors += [error for error in found if error.field not in known]
            return None


def _named(value: object) -> str:
    words = {bool: "true or false", str: "text", list: "a list", dict: "an object", type(None): "null"}
    return words.get(type(value), "that")


def no_stations(name: str) -> Climate | None:
    """The lookup of a shop that has imported no station."""
    return None


def read_request(document: object, station: StationLookup = no_stations) -> Request:
    """The forecast command's document → what `due.forecast` takes. Raises InputErrors with dotted field names."""
    reading = _Document()
    top = reading.mapping(document, "", REQUIRED, ("tours", "odometer", "washed_on", "observed"))
    if not isinstance(document, dict):
        raise InputErrors(reading.errors)
    site = _site(reading, top, station)
    use = _use(reading, top)
    coats = [_coat(reading, *member) for member in reading.items(top.get("coats", []), "coats")]
    as_of = reading.day(top["as_of"], "as_of") if "as_of" in top else None
    refuse(reading.errors)
    assert site and use and as_of and all(coats)  # nothing was refused, so everything was built
    return Request(site, use, tuple(coat for coat in coats if coat), as_of)


def _site(reading: _Document, top: dict[str, Any], station: StationLookup) -> Site | None:
    climate = _climate(reading, top["climate"], station) if "climate" in top else None
    return reading.build(
        *("", Site),
        climate=climate,
        road_salt=reading.choice(top.get("road_salt", RoadSalt.NONE), "road_salt", RoadSalt),
        **{name: reading.number(top.get(name, 1), name) for name in DEPOSITIONS},
        observed=_observed(reading, top["observed"]) if "observed" in top else (),
    )


def _observed(reading: _Document, value: object) -> tuple[Observation, ...]:
    """Observed days by columns, as the climate is: `on` and a list of equal length for each of MONTHLY."""
    before = len(reading.errors)
    parts = reading.mapping(value, "observed", ("on", *MONTHLY))
    days = [reading.day(*on) for on in reading.items(parts.get("on", []), "observed.on", LONGEST_WEATHER)]
    columns = []
    for name in MONTHLY:
        members = reading.items(parts.get(name, []), f"observed.{name}", LONGEST_WEATHER)
        columns.append([reading.number(*member) for member in members])
        if name in parts and len(members) != len(days):
            reading.refused(f"observed.{name}", "must be as long as observed.on")
    if len(reading.errors) > before:
        return ()
    rows = (dict(zip(MONTHLY, numbers, strict=True)) for numbers in zip(*columns, strict=True))
    built = [
        reading.build(f"observed[{index}]", Observation, on=day, **row)
        for index, (day, row) in enumerate(zip(days, rows, strict=True))
    ]
    return tuple(day for day in built if day)


def _climate(reading: _Document, value: object, station: StationLookup) -> Climate | None:
    if isinstance(value, dict) and "station" in value:
        return _station(reading, value, station)
    parts = reading.mapping(value, "climate", MONTHLY, ("frost_days",))
    columns: dict[str, Any] = {
        name: tuple(reading.number(*member) for member in reading.items(parts.get(name, []), f"climate.{name}"))
        for name in (*MONTHLY, "frost_days")
        if name in MONTHLY or parts.get(name) is not None
    }
    return reading.build("climate", Climate, **columns)


def _station(reading: _Document, value: dict[str, Any], station: StationLookup) -> Climate | None:
    name = reading.mapping(value, "climate", ("station",)).get("station")
    found = station(name) if isinstance(name, str) else None
    if found is None:
        reading.refused("climate.station", "is no station this shop has imported; give its twelve monthly rows instead")
    return found


def _use(reading: _Document, top: dict[str, Any]) -> Use | None:
    months = reading.items(top.get("riding_months", []), "riding_months")
    sound = [month for month, _ in months if type(month) is int and 1 <= month <= 12]
    for month, field in months:
        if month not in sound or type(month) is not int:
            reading.refused(field, "must be a month from 1 to 12")
    tours = [_tour(reading, *member) for member in reading.items(top.get("tours", []), "tours")]
    odometer = [_reading(reading, *member) for member in reading.items(top.get("odometer", []), "odometer")]
    return reading.build(
        *("", Use),
        storage=reading.choice(top.get("storage", Storage.OUTSIDE), "storage", Storage),
        riding_months=frozenset(sound),
        km_per_year=reading.number(top.get("km_per_year", 0), "km_per_year"),
        washes_per_year=reading.number(top.get("washes_per_year", 0), "washes_per_year"),
        tours=tuple(tour for tour in tours if tour),
        odometer=tuple(mark for mark in odometer if mark) if all(odometer) else (),
        washed_on=tuple(reading.day(*member) for member in reading.items(top.get("washed_on", []), "washed_on")),
    )


def _tour(reading: _Document, value: object, field: str) -> Tour | None:
    before = len(reading.errors)
    parts = reading.mapping(value, field, ("from", "to", "km", "salted"))
    if not isinstance(parts.get("salted", False), bool):
        reading.refused(f"{field}.salted", "must be true or false")
    days = {key: reading.day(parts[key], f"{field}.{key}") for key in ("from", "to") if key in parts}
    km = reading.number(parts.get("km", 0), f"{field}.km")
    if len(reading.errors) > before:  # a stand-in for a refused day must not be compared with the other
        return None
    return reading.build(field, Tour, from_=days["from"], to=days["to"], km=km, salted=parts["salted"])


def _reading(reading: _Document, value: object, field: str) -> Reading | None:
    parts = reading.mapping(value, field, ("on", "km"))
    on = reading.day(parts.get("on", _STAND_IN), f"{field}.on")
    return reading.build(field, Reading, on=on, km=reading.number(parts.get("km", 0), f"{field}.km"))


def _coat(reading: _Document, value: object, field: str) -> Coat | None:
    parts = reading.mapping(value, field, ("zone", "coat", "applied_on"), LEARNT_OR_KNOWN)
    optional = {
        name: reading.number(parts[name], f"{field}.{name}") for name in LEARNT_OR_KNOWN if parts.get(name) is not None
    }
    return reading.build(
        *(field, Coat),
        zone=reading.choice(parts.get("zone", Zone.FRAME), f"{field}.zone", Zone),
        kind=reading.choice(parts.get("coat", CoatKind.WAX), f"{field}.coat", CoatKind),
        applied_on=reading.day(parts.get("applied_on", _STAND_IN), f"{field}.applied_on"),
        **optional,
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
    reading = _Document()
    parts = reading.mapping(document, "", AIR)
    answer = reading.build("", corrosivity, **{name: reading.number(parts.get(name, 1), name) for name in AIR})
    refuse(reading.errors)
    assert answer is not None  # nothing was refused, so it was built
    return answer


def corrosivity_document(answer: Corrosivity) -> dict[str, Any]:
    """Losses as the corrosivity command prints them; aluminium by mass, the others by thickness."""
    units = {metal: "g_m2_per_year" if metal is Metal.ALUMINIUM else "um_per_year" for metal in Metal}
    losses = {metal.value: {units[metal]: answer.rates[metal], "category": answer.categories[metal]} for metal in Metal}
    return {**losses, "extrapolated": answer.extrapolated}
