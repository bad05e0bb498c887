"""How the words of the trade are shown to people; the stored values stay the same in every language."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from bookings.rules.types import (
    BikeKind,
    CoatKind,
    Condition,
    Method,
    RoadSalt,
    SafetyItem,
    Storage,
    VisitState,
    Zone,
)

ZONE = [
    (Zone.EXHAUST.value, _("exhaust")),
    (Zone.SPROCKET.value, _("sprocket")),
    (Zone.SPOKES.value, _("spokes")),
    (Zone.FASTENERS.value, _("fasteners")),
    (Zone.SWITCHGEAR.value, _("switchgear")),
    (Zone.ENGINE_CASES.value, _("engine cases")),
    (Zone.FRAME.value, _("frame")),
    (Zone.FORK.value, _("fork")),
    (Zone.PAINT.value, _("paint")),
    (Zone.BRAKE_DISCS.value, _("brake discs")),
    (Zone.BRAKE_PADS.value, _("brake pads")),
    (Zone.TYRES.value, _("tyres")),
    (Zone.GRIPS.value, _("grips")),
    (Zone.PEGS.value, _("pegs")),
    (Zone.SEAT.value, _("seat")),
]
COAT_KIND = [
    (CoatKind.CLEAR_FILM.value, _("clear film")),
    (CoatKind.HEAVY_FILM.value, _("heavy film")),
    (CoatKind.WAX.value, _("wax")),
    (CoatKind.CERAMIC.value, _("ceramic")),
]
METHOD = [
    (Method.MIST.value, _("misted")),
    (Method.BRUSH.value, _("brushed")),
    (Method.MACHINE.value, _("by machine")),
    (Method.HAND.value, _("by hand")),
]
STORAGE = [
    (Storage.OUTSIDE.value, _("outside, uncovered")),
    (Storage.COVERED.value, _("outside under a cover or roof")),
    (Storage.UNHEATED.value, _("in an unheated garage or shed")),
    (Storage.HEATED.value, _("in a heated, dry garage")),
]
ROAD_SALT = [
    (RoadSalt.NONE.value, _("never salted, or not ridden then")),
    (RoadSalt.LIGHT.value, _("now and then")),
    (RoadSalt.NORMAL.value, _("on most frosty days")),
    (RoadSalt.HEAVY.value, _("nearly every day of winter")),
]
BIKE_KIND = [
    (BikeKind.BARE.value, _("bare, little bodywork")),
    (BikeKind.FAIRED.value, _("with a fairing or touring bodywork")),
    (BikeKind.SCOOTER.value, _("scooter")),
    (BikeKind.SIDECAR.value, _("with a sidecar")),
]
CONDITION = [
    (Condition.CLEAN.value, _("clean, just dusty")),
    (Condition.DIRTY.value, _("dirty from ordinary riding")),
    (Condition.CRUSTED.value, _("crusted with salt and road dirt")),
    (Condition.CORRODED.value, _("rust or white bloom on metal parts")),
]
VISIT_STATE = [
    (VisitState.PENCILLED.value, _("pencilled")),
    (VisitState.CONFIRMED.value, _("confirmed")),
    (VisitState.DROPPED_OFF.value, _("dropped off")),
    (VisitState.IN_WORK.value, _("in work")),
    (VisitState.CURING.value, _("curing")),
    (VisitState.READY.value, _("ready")),
    (VisitState.COLLECTED.value, _("collected")),
    (VisitState.CALLED_OFF.value, _("called off")),
    (VisitState.MISSED.value, _("missed")),
]
SAFETY_ITEM = [
    (SafetyItem.BRAKES_CLEAR.value, _("Brake discs, pads and calipers are free of film, polish and solvent")),
    (SafetyItem.TYRES_CLEAR.value, _("Tyres are free of film, polish and solvent")),
    (SafetyItem.CONTROLS_CLEAR.value, _("Grips, levers, pegs and seat are free of film and polish")),
    (
        SafetyItem.FASTENERS_TORQUED.value,
        _("Every fastener taken out is back and tightened to the maker's torque, and a second look agrees"),
    ),
    (SafetyItem.BRAKE_FUNCTION.value, _("Front and rear brakes bite firmly after rolling and pumping")),
    (SafetyItem.LIGHTS_SWITCHES.value, _("Lights, horn and switches work")),
]
WEEKDAY = [
    (0, _("Monday")),
    (1, _("Tuesday")),
    (2, _("Wednesday")),
    (3, _("Thursday")),
    (4, _("Friday")),
    (5, _("Saturday")),
    (6, _("Sunday")),
]
# What a rider says yes to, word for word: shown where it is asked, and kept with the consent.
RECALL_AGREED_ONLINE = _("Send me a word before winter, and when the coats on this bike come due.")
RECALL_AGREED_BY_PHONE = _("Asked, and agreed: a word before winter, and when the coats come due")
