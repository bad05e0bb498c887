"""What people type, read strictly and answered at the field."""

from bookings.forms.plain import OneLineField, PlainForm

__all__ = ["OneLineField", "PlainForm"]
