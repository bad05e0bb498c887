"""What riders say after a visit, and how the shop words its notices."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from bookings.forms.plain import OneLineField, PlainForm
from reminders.services import texts
from reminders.services.texts import Wording
from reminders.services.wording import LONGEST_BODY


class NotRightForm(PlainForm):
    """What is not right."""

    words = forms.CharField(
        label=_("What is not right?"),
        help_text=_("Which part, what you see or feel, and since when."),
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 5}),
        error_messages={"required": _("Say in a few words what is not right, so that we can prepare.")},
    )


class WordingForm(PlainForm):
    """Subject and text of one kind of notice."""

    subject = OneLineField(label=_("Subject"), max_length=150, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    body = forms.CharField(
        label=_("Text"),
        help_text=_("An empty line begins a new paragraph. Our name and phone number follow by themselves."),
        max_length=LONGEST_BODY,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 18, "spellcheck": "true"}),
    )

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kind = kind

    def clean_body(self) -> str:
        """Line ends as they are kept, and no blanks at the end."""
        lines = self.cleaned_data["body"].replace("\r\n", "\n").split("\n")
        return "\n".join(line.rstrip() for line in lines).strip("\n") + "\n"

    def clean(self) -> dict[str, Any]:
        wanted = Wording(self.cleaned_data.get("subject", ""), self.cleaned_data.get("body", ""))
        for field, faults in texts.faults_in(self.kind, wanted).items():
            for fault in faults if field in self.cleaned_data else ():
                self.add_error(field, fault)
        return self.cleaned_data

    @property
    def wording(self) -> Wording:
        """What was typed, once it is valid."""
        return Wording(self.cleaned_data["subject"], self.cleaned_data["body"])
