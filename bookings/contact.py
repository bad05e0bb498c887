"""Phone numbers: read as people type them, stored as E.164, shown in the national way at home."""

from __future__ import annotations

import phonenumbers
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _


def read_phone(typed: str, region: str) -> str:
    """E.164 of a number as typed, read as a number of `region` unless it begins with +.

    Raises ValidationError. Length is checked, not whether a network has issued the number: ranges change faster
    than the tables that describe them, and a number the rider knows better than we do must not be refused.
    """
    try:
        number = phonenumbers.parse(typed, region)
    except phonenumbers.NumberParseException as error:
        raise ValidationError(_("Please check this phone number: it does not look complete.")) from error
    # A number that reaches somebody only within its own area code would be stored as one nobody can ring.
    if phonenumbers.is_possible_number_with_reason(number) != phonenumbers.ValidationResult.IS_POSSIBLE:
        raise ValidationError(_("Please check this phone number: it is too long or too short."))
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def show_phone(e164: str, region: str) -> str:
    """A stored number as people of `region` write it."""
    if not e164:
        return ""
    number = phonenumbers.parse(e164)
    at_home = phonenumbers.region_code_for_country_code(number.country_code or 0) == region
    style = phonenumbers.PhoneNumberFormat.NATIONAL if at_home else phonenumbers.PhoneNumberFormat.INTERNATIONAL
    return phonenumbers.format_number(number, style)
