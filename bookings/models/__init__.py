"""Facts of stages one to three: request, booking, job record."""

from bookings.models.bookings import Claim, Visit, VisitEvent
from bookings.models.catalogue import Product, Step, Tier
from bookings.models.jobs import CoatApplied, Job, SafetySignOff, StepDone
from bookings.models.requests import BookingRequest
from bookings.models.riders import Bike, Rider
from bookings.models.shop import Bay, ClimateMonth, Closure, DiaryDay, OpeningHours, Shop

__all__ = [
    "Bay",
    "Bike",
    "BookingRequest",
    "Claim",
    "ClimateMonth",
    "Closure",
    "CoatApplied",
    "DiaryDay",
    "Job",
    "OpeningHours",
    "Product",
    "Rider",
    "SafetySignOff",
    "Shop",
    "Step",
    "StepDone",
    "Tier",
    "Visit",
    "VisitEvent",
]
