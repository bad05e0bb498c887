"""What staff tell of the place and of the numbers, read strictly and answered at the field."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.forms import BoundField
from django.utils.dates import MONTHS
from django.utils.translation import gettext_lazy as _

from bookings.forms import OneLineField, PlainForm
from bookings.models import ClimateMonth
from bookings.rules.errors import InputErrors
from reminders.protection.parameters import Parameter
from reminders.protection.types import Climate
from reminders.protection.weather_files import DAY_COLUMNS, MONTH_COLUMNS, MONTH_EXTRAS, read_days, read_months
from reminders.text import number

ERRORS_SHOWN = 30
LARGEST_BYTES = 1_000_000
MONTHLY = {
    "temperature_c": _("mean, °C"),
    "minimum_temperature_c": _("mean of the nights' lowest, °C"),
    "relative_humidity_percent": _("mean humidity, %"),
    "frost_days": _("days with frost (if known)"),
}
_OFF = {"autocomplete": "off"}


class NumberField(forms.FloatField):
    """A number in a text box, with a point or a comma before its decimals and any minus sign."""

    widget = forms.TextInput(attrs=_OFF | {"inputmode": "decimal", "class": "short"})

    def to_python(self, value: Any) -> float | None:  # type: ignore[override]
        if isinstance(value, str):
            # Python would read 1_000 as a number, people would not.
            value = value.strip().replace("\u2212", "-").replace(",", ".").replace("_", "?")
        return super().to_python(value)


def _source_field() -> OneLineField:
    return OneLineField(
        label=_("Where are the figures from?"),
        help_text=_("Station, years and publisher; the page that explains the estimate names it."),
        max_length=200,
        widget=forms.TextInput(attrs=_OFF),
    )


class ClimateForm(PlainForm):
    """Twelve months as they usually are, and where the figures are from."""

    def __init__(self, *args: Any, known: Sequence[ClimateMonth] = (), **kwargs: Any) -> None:
        kwargs.setdefault("initial", _initial(known))
        super().__init__(*args, **kwargs)
        for month, name in MONTHS.items():
            for column, words in MONTHLY.items():
                label = f"{name}: {words}"
                self.fields[f"{column}_{month}"] = NumberField(label=label, required=column != "frost_days")
        self.fields["source"] = _source_field()
        self.climate: Climate | None = None

    def months(self) -> list[tuple[str, list[tuple[BoundField, str]]]]:
        """Each month with its fields and what they are called within it."""
        return [
            (
                str(name),
                [
                    (self[f"{column}_{month}"], f"{str(words)[:1].upper()}{str(words)[1:]}")
                    for column, words in MONTHLY.items()
                ],
            )
            for month, name in MONTHS.items()
        ]

    def clean(self) -> dict[str, Any]:
        given = self.cleaned_data
        frost = [month for month in MONTHS if given.get(f"frost_days_{month}") is not None]
        if frost:
            for month in MONTHS:
                if month not in frost and f"frost_days_{month}" not in self.errors:
                    self.add_error(f"frost_days_{month}", _("Give them for all twelve months, or for none."))
        if self.errors:
            return given
        try:
            self.climate = Climate.from_rows(
                {column: given[f"{column}_{month}"] for column in MONTHLY} for month in MONTHS
            )
        except InputErrors as refused:
            for error in refused.errors:
                column, _bracket, index = error.field.rstrip("]").partition("[")
                self.add_error(f"{column}_{int(index) + 1}", f"{error.message[:1].upper()}{error.message[1:]}.")
        return given


def _initial(known: Iterable[ClimateMonth]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for row in known:
        values |= {f"{column}_{row.month}": getattr(row, column) for column in MONTHLY}
        values["source"] = row.source
    # Whole numbers without their “.0”, as people write them.
    return {
        name: str(value).removesuffix(".0") if isinstance(value, float) else value for name, value in values.items()
    }


class ImportForm(PlainForm):
    """A table from a file or pasted in; `today` bounds what can have been observed."""

    MONTHS, DAYS = "months", "days"
    kind = forms.ChoiceField(
        label=_("What is in the table?"),
        choices=[(MONTHS, _("twelve months as they usually are")), (DAYS, _("days that were measured"))],
        widget=forms.RadioSelect,
    )
    file = forms.FileField(
        label=_("A CSV file (if you have one)"),
        help_text=_("When a file is chosen, it is read and the box below is not."),
        required=False,
        allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,text/csv,text/plain"}),
    )
    table = forms.CharField(
        label=_("Or the table pasted in"),
        help_text=_("Straight from a spreadsheet will do, with the line of column names on top."),
        required=False,
        strip=False,
        max_length=LARGEST_BYTES,
        widget=forms.Textarea(attrs=_OFF | {"rows": 8, "spellcheck": "false", "class": "figures"}),
    )
    source = _source_field()

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.read: Any = None

    @staticmethod
    def columns() -> list[tuple[Any, str]]:
        """What the header of each kind of table says."""
        months = ",".join((*MONTH_COLUMNS, *MONTH_EXTRAS))
        return [(_("Twelve months"), months), (_("Measured days"), ",".join(DAY_COLUMNS))]

    def clean(self) -> dict[str, Any]:
        given = self.cleaned_data
        if upload := given.get("file"):
            self._take(upload)
        text = given.get("table", "")
        if not text.strip() and "table" not in self.errors and "file" not in self.errors:
            self.add_error("table", _("Choose a file, or paste the table in here."))
        if "kind" in given and not {"table", "file"} & set(self.errors):
            self._read(given["kind"], text.splitlines())
        return given

    def _take(self, upload: UploadedFile[Any]) -> None:
        """The file's text moves into the box, so that nothing is lost when the page comes back."""
        content = upload.read(LARGEST_BYTES + 1)
        if len(content) > LARGEST_BYTES:
            self.add_error("file", _("It is larger than a million bytes. Please split it."))
            return
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = "\0"
        if "\0" in text:
            self.add_error("file", _("It is not plain text in UTF-8. In a spreadsheet choose “CSV UTF-8”."))
            return
        self.cleaned_data["table"] = text
        self.data = {**self.data.dict(), "table": text}  # type: ignore[attr-defined]

    def _read(self, kind: str, lines: list[str]) -> None:
        try:
            self.read = read_months(lines) if kind == self.MONTHS else read_days(lines, self.today)
        except InputErrors as refused:
            for error in refused.errors[:ERRORS_SHOWN]:
                self.add_error("table", f"{error.field[:1].upper()}{error.field[1:]}: {error.message}.")
            if (more := len(refused.errors) - ERRORS_SHOWN) > 0:
                self.add_error("table", _("And %(count)s more.") % {"count": more})


class ForgetForm(PlainForm):
    """Which observed days to take out."""

    first = forms.DateField(
        label=_("First day"), widget=forms.DateInput(attrs=_OFF | {"type": "date"}, format="%Y-%m-%d")
    )
    last = forms.DateField(
        label=_("Last day"), widget=forms.DateInput(attrs=_OFF | {"type": "date"}, format="%Y-%m-%d")
    )

    def clean(self) -> dict[str, Any]:
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        if first and last and last < first:
            self.add_error("last", _("This day lies before the first one."))
        return self.cleaned_data


class ParameterForm(PlainForm):
    """Another value for one number, and why."""

    value = NumberField(label=_("New value"))
    why = OneLineField(
        label=_("Why?"),
        help_text=_("Riders can read this on the page that explains the estimate, so name nobody."),
        max_length=200,
        widget=forms.TextInput(attrs=_OFF),
    )

    def __init__(self, *args: Any, row: Parameter, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.row = row
        self.fields["value"].help_text = _("From %(low)s to %(high)s.") % self._range()

    def _range(self) -> dict[str, str]:
        return {"low": number(self.row.low), "high": number(self.row.high, self.row.unit)}

    def clean_value(self) -> float:
        value: float = self.cleaned_data["value"]
        if not self.row.low <= value <= self.row.high:
            raise forms.ValidationError(_("It must lie from %(low)s to %(high)s.") % self._range())
        return value
