"""The form every page's form is made of: label above, help, error at the field, a summary on top."""

from __future__ import annotations

import re
from typing import Any

from django import forms

# Line breaks and other controls have no place in a name or a plate, and would travel on into mail headers.
_CONTROLS = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\s]+")


class OneLineField(forms.CharField):
    """One line of text: blanks and control characters between words become one blank."""

    def to_python(self, value: Any) -> str:
        return _CONTROLS.sub(" ", super().to_python(value) or "").strip()


class PlainForm(forms.Form):
    """Written by config/templates/django/forms; errors come from the server, so the browser's own are off."""

    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
