"""The words of the trade that every stage shares. Stored as these strings, shown through translations."""

from __future__ import annotations

from enum import StrEnum


class Zone(StrEnum):
    """A part of the bike as it is worked on and recorded."""

    EXHAUST = "exhaust"
    SPROCKET = "sprocket"
    SPOKES = "spokes"
    FASTENERS = "fasteners"
    SWITCHGEAR = "switchgear"
    ENGINE_CASES = "engine_cases"
    FRAME = "frame"
    FORK = "fork"
    PAINT = "paint"
    # Zones below are cleaned and inspected but never coated: see safety.NEVER_COATED.
    BRAKE_DISCS = "brake_discs"
    BRAKE_PADS = "brake_pads"
    TYRES = "tyres"
    GRIPS = "grips"
    PEGS = "pegs"
    SEAT = "seat"


class CoatKind(StrEnum):
    """What kind of protection was put on."""

    CLEAR_FILM = "clear_film"
    HEAVY_FILM = "heavy_film"
    WAX = "wax"
    CERAMIC = "ceramic"


class Method(StrEnum):
    """How a coat was put on."""

    MIST = "mist"
    BRUSH = "brush"
    MACHINE = "machine"
    HAND = "hand"


class Storage(StrEnum):
    """Where the bike stands between rides, from the worst place to the best."""

    OUTSIDE = "outside"
    COVERED = "covered"
    UNHEATED = "unheated"
    HEATED = "heated"


class RoadSalt(StrEnum):
    """How much the roads the bike uses are salted; a setting, never inferred from climate."""

    NONE = "none"
    LIGHT = "light"
    NORMAL = "normal"
    HEAVY = "heavy"


class BikeKind(StrEnum):
    """Kinds that take a different length of work."""

    BARE = "bare"
    FAIRED = "faired"
    SCOOTER = "scooter"
    SIDECAR = "sidecar"


class Condition(StrEnum):
    """The state of the bike in the words a rider would use, from best to worst."""

    CLEAN = "clean"
    DIRTY = "dirty"
    CRUSTED = "crusted"
    CORRODED = "corroded"


class VisitState(StrEnum):
    """Where a visit stands, in the order a visit goes; the last two end it early."""

    PENCILLED = "pencilled"
    CONFIRMED = "confirmed"
    DROPPED_OFF = "dropped_off"
    IN_WORK = "in_work"
    CURING = "curing"
    READY = "ready"
    COLLECTED = "collected"
    CALLED_OFF = "called_off"
    MISSED = "missed"


class SafetyItem(StrEnum):
    """A sign-off without which a treated bike may not leave."""

    BRAKES_CLEAR = "brakes_clear"
    TYRES_CLEAR = "tyres_clear"
    CONTROLS_CLEAR = "controls_clear"
    FASTENERS_TORQUED = "fasteners_torqued"
    BRAKE_FUNCTION = "brake_function"
    LIGHTS_SWITCHES = "lights_switches"
