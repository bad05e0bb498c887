"""The workshop's starting values. Where a row says judgement no published figure was found: edit with experience."""

from __future__ import annotations

from bookings.rules.types import CoatKind, RoadSalt, Zone
from reminders.protection.corrosivity import DOSE_RESPONSE, Metal
from reminders.protection.parameters import Basis, Parameter, Parameters

_TUNED = (
    "tuned so that a soft wax on a garaged summer bike lasts about a year and on a salted all-year bike about a season"
)
_RANKED = "ranked by how soft the film is; no published figure for coatings of motorcycles found"
_SHELTER = "ordered so that heated rooms reach ISO 9223 C1 and unheated ones C2 (second-hand, CorWiz, MIT)"
_CABINS = "set so that steel loses 0.83 of the open, mean of six pairs of Benarie & Lipfert 1986 (via CorWiz, MIT)"
_SALT = "ISO 9223 chloride classes S1–S3 (second-hand) and a mass balance of 19 g/m² per treatment"
_FROST = "fitted to 27,122 station-months of the WMO normals 1991–2020; rmse 0.034 of a month"
_BRINE = "no measurement of salt staying on a bike found"
_SCATTER = "ISO 9223 estimation interval −33…+50 % of the dose-response function (from memory)"

# nominal life in days, share of ageing, km and washes that alone would use the coat up
_COATS = {
    CoatKind.CLEAR_FILM: (130.0, 0.35, 9_000.0, 30.0),
    CoatKind.HEAVY_FILM: (330.0, 0.35, 20_000.0, 60.0),
    CoatKind.WAX: (700.0, 0.35, 45_000.0, 150.0),
    CoatKind.CERAMIC: (1100.0, 0.60, 80_000.0, 150.0),
}
# spray caught from the road and ageing by heat, both relative to the frame
_ZONES = {
    Zone.EXHAUST: (1.2, 2.0),
    Zone.SPROCKET: (1.5, 1.0),
    Zone.SPOKES: (1.3, 1.0),
    Zone.FASTENERS: (1.0, 1.0),
    Zone.SWITCHGEAR: (0.3, 1.0),
    Zone.ENGINE_CASES: (1.0, 1.3),
    Zone.FRAME: (1.0, 1.0),
    Zone.FORK: (1.1, 1.0),
    Zone.PAINT: (0.6, 1.0),
}
_SALTED = {RoadSalt.LIGHT: 60.0, RoadSalt.NORMAL: 300.0, RoadSalt.HEAVY: 760.0}


def _judged(key: str, meaning: str, value: float, unit: str, low: float, high: float, source: str) -> Parameter:
    return Parameter(key, meaning, value, unit, low, high, Basis.JUDGEMENT, source)


def _coat_rows() -> list[Parameter]:
    rows = []
    for kind, (life, age_share, km, washes) in _COATS.items():
        name = kind.replace("_", " ")
        rows += [
            _judged(f"coat.{kind}.nominal_life_days", f"{name}: life at exposure 1", life, "days", 1, 20_000, _TUNED),
            _judged(f"coat.{kind}.age_share", f"{name}: share of that by age", age_share, "1", 0.05, 0.95, _RANKED),
            _judged(f"coat.{kind}.life_km", f"{name}: riding alone uses it up", km, "km", 100, 1e6, _RANKED),
            _judged(
                f"coat.{kind}.life_washes", f"{name}: washing alone uses it up", washes, "washes", 1, 10_000, _RANKED
            ),
        ]
    return rows


def _zone_rows() -> list[Parameter]:
    rows = []
    for zone, (spray, heat) in _ZONES.items():
        name = zone.replace("_", " ")
        rows += [
            _judged(f"zone.{zone}.spray", f"{name}: spray caught, frame = 1", spray, "1", 0, 3, "place on the bike"),
            _judged(
                f"zone.{zone}.heat", f"{name}: ageing by heat, frame = 1", heat, "1", 1, 10, "hot parts dry films out"
            ),
        ]
    return rows


def _data(key: str, meaning: str, value: float, unit: str, low: float, high: float, source: str) -> Parameter:
    return Parameter(key, meaning, value, unit, low, high, Basis.DATA, source)


def _storage_rows() -> list[Parameter]:
    return [
        _data("storage.covered.so2_share", "covered: SO2 that reaches the bike", 0.7, "1", 0, 1, _CABINS),
        _data("storage.covered.chloride_share", "covered: airborne chloride", 0.7, "1", 0, 1, _CABINS),
        _judged("storage.unheated.warming_c", "unheated room above outdoors", 3.0, "°C", 0, 15, _SHELTER),
        _judged("storage.unheated.so2_share", "unheated: SO2 that reaches the bike", 0.25, "1", 0, 1, _SHELTER),
        _judged("storage.unheated.chloride_share", "unheated: airborne chloride", 0.15, "1", 0, 1, _SHELTER),
        _judged("storage.heated.warming_c", "heated room above outdoors in summer", 3.0, "°C", 0, 15, _SHELTER),
        _judged("storage.heated.floor_c", "heated room is kept at least at", 15.0, "°C", 5, 30, _SHELTER),
        _judged("storage.heated.added_vapour_hpa", "vapour people add to a heated room", 1.0, "hPa", 0, 10, _SHELTER),
        _judged("storage.heated.so2_share", "heated: SO2 that reaches the bike", 0.10, "1", 0, 1, _SHELTER),
        _judged("storage.heated.chloride_share", "heated: airborne chloride", 0.05, "1", 0, 1, _SHELTER),
    ]


def _salt_rows() -> list[Parameter]:
    rows = [
        _judged(
            f"salt.{salt}.deposition", f"{salt} salting: chloride on low parts", value, "mg/(m²·day)", 0, 5000, _SALT
        )
        for salt, value in _SALTED.items()
    ]
    return [
        *rows,
        _data(
            *("salt.gritting_per_frost", "nights gritted per air-frost night", 1.25, "1", 0.5, 3),
            "22 public hourly weather files, nights with minimum ≤ 1 °C over nights < 0 °C; rmse 1.6 a month",
        ),
        _data("salt.frost_offset_c", "frost days from a month's mean minimum: offset", -0.5, "°C", -5, 5, _FROST),
        _data("salt.frost_spread_c", "frost days from a month's mean minimum: spread", 4.4, "°C", 0.5, 15, _FROST),
        _judged(
            "salt.saturating_nights", "gritted nights a month that keep roads salted", 10.0, "nights", 1, 31, _SALT
        ),
        _judged("salt.season_threshold", "share of salting that counts as the season", 0.1, "1", 0.01, 1, _SALT),
        _judged("salt.rinsed_share", "road salt rinsed off by habit after rides", 0.0, "1", 0, 1, _BRINE),
        _judged("salt.lead_days", "act so long before the season", 21.0, "days", 0, 120, "a recall round takes weeks"),
        _judged("brine.half_life_days", "salt left on halves in (0: none stays)", 14.0, "days", 0, 365, _BRINE),
        _judged("brine.washed_off_share", "salt a recorded wash takes off", 0.9, "1", 0, 1, _BRINE),
        _judged(
            *("brine.hygroscopic_share", "salt that draws water like MgCl2", 0.2, "1", 0, 1),
            "grit treatments and road dirt differ; set 1 where MgCl2 or CaCl2 brine is spread",
        ),
        Parameter(
            *("brine.sodium_deliquescence", "NaCl is wet above", 75.5, "% humidity", 20, 95, Basis.DATA),
            "CRC Handbook, 69.20·exp(25/T), 75.8 at 0 °C to 75.4 at 20 °C; Wexler & Hasegawa 1954",
        ),
        Parameter(
            *("brine.magnesium_deliquescence", "MgCl2 is wet above", 33.0, "% humidity", 20, 95, Basis.DATA),
            "CRC Handbook, 29.26·exp(34/T), 33.1 at 0 °C to 32.9 at 20 °C",
        ),
    ]


def _band_rows() -> list[Parameter]:
    return [
        Parameter("band.exposure_log_sd", "scatter of exposure, log", 0.405, "1", 0, 2, Basis.STANDARD, _SCATTER),
        _judged("band.product_log_sd", "scatter between products and users, log", 0.30, "1", 0, 2, _RANKED),
        _judged("band.z", "band half-width: 0.84 spans 20–80 %", 0.84, "1", 0.1, 3, "two in five are outside"),
    ]


def _inspection_rows() -> list[Parameter]:
    parts = "together with the exposure's they make up the band's scatter of films and wax"
    found = "no published relation of rusted area to film wear found; to be fitted from the shop's own inspections"
    return [
        _judged("learning.bike_log_sd", "lasting difference between bikes, log", 0.32, "1", 0.01, 2, parts),
        _judged("learning.product_log_sd", "lasting difference between products, log", 0.20, "1", 0.01, 2, parts),
        _judged("learning.coat_log_sd", "difference from coat to coat, log", 0.12, "1", 0.01, 2, parts),
        _judged("inspection.wear_per_rating", "wear that costs one step of rating", 1.15, "1", 1.01, 3, found),
        _judged("inspection.rust_log_sd", "scatter of wear read from rust, log", 0.20, "1", 0.01, 2, found),
        _judged("inspection.film_sd", "error of the share of film left by eye", 0.10, "1", 0.01, 0.5, found),
    ]


DEFAULTS = Parameters(
    (*_coat_rows(), *_zone_rows(), *_storage_rows(), *_salt_rows(), *_band_rows(), *_inspection_rows())
)


def _published_rows() -> list[Parameter]:
    sources = {
        Metal.STEEL: "ISO 9223:2012, second-hand: four public transcriptions, among them CorWiz (MIT)",
        Metal.ZINC: "ISO 9223:2012, second-hand: two public transcriptions",
    }
    rows = []
    for metal, function in DOSE_RESPONSE.items():
        source = sources.get(metal, "ISO 9223:2012, second-hand: one public transcription")
        for name in ("a", "p", "k", "cold", "warm", "c", "q", "m", "n"):
            value, meaning = getattr(function, name), f"{metal}: coefficient {name} of the dose-response function"
            rows.append(Parameter(f"iso9223.{metal}.{name}", meaning, value, "1", value, value, Basis.STANDARD, source))
    return rows


# Shown beside the others on the page that explains the estimate; not for editing, so not among DEFAULTS.
PUBLISHED: tuple[Parameter, ...] = tuple(_published_rows())
