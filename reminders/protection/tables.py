"""Tables people bring along: comma, semicolon or tab between cells, each line judged by itself and named if refused."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bookings.rules.errors import FieldError
from reminders.protection.bounds import refuse

LONGEST_TABLE_LINES = 8000
_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_BYTE_ORDER_MARK, _MINUS_SIGN = "\ufeff", "\u2212"


@dataclass(frozen=True)
class Row:
    """One line of a table: its number in the file, and its cells by the names of the header, blanks around them off."""

    number: int
    cells: dict[str, str]
    has_decimal_comma: bool = False

    def field(self, column: str) -> str:
        """Where a refusal points: ``line 7, month``."""
        return f"line {self.number}, {column}"

    def value(self, column: str) -> tuple[float, list[FieldError]]:
        """The number in a cell, or what is wrong with it."""
        text = self.cells.get(column, "")
        plain = text.replace(_MINUS_SIGN, "-")
        plain = plain.replace(",", ".") if self.has_decimal_comma else plain
        if _NUMBER.fullmatch(plain):
            return float(plain), []
        problem = f"must be a number, not “{text[:40]}”" if text else "is empty"
        return 0.0, [FieldError(self.field(column), problem)]


def read_rows(
    lines: Iterable[str], required: Sequence[str], optional: Sequence[str] = (), at_most: int = LONGEST_TABLE_LINES
) -> list[Row]:
    """The rows below the header; empty lines and those starting with # are passed over. Raises InputErrors.

    Every column of the header must be known. Where cells are not separated by commas, a comma may mark decimals.
    """
    numbered = [(number, line.strip("\r\n")) for number, line in enumerate(lines, start=1)]
    kept = [(number, line) for number, line in numbered if line.strip(" \t,;") and not line.startswith("#")]
    if not kept:
        refuse([FieldError("line 1", f"a header is missing; it reads {','.join((*required, *optional))}")])
    if len(kept) > at_most:
        refuse([FieldError(f"line {kept[at_most][0]}", f"more than {at_most} lines at once")])
    number, header = kept[0]
    separator = next((mark for mark in "\t;" if mark in header), ",")
    names = [name.lower() for name in _cells(header.lstrip(_BYTE_ORDER_MARK), separator)]
    refuse(_header_errors(number, names, required, optional))
    rows, errors = [], []
    for number, line in kept[1:]:
        cells = _cells(line, separator)
        if len(cells) > len(names):
            errors.append(FieldError(f"line {number}", f"has {len(cells)} cells, but the header has {len(names)}"))
        named = dict(zip(names, cells + [""] * len(names), strict=False))
        rows.append(Row(number, named, has_decimal_comma=separator != ","))
    refuse(errors)
    return rows


def _cells(line: str, separator: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    except csv.Error:
        return line.split(separator)


def _header_errors(
    number: int, names: Sequence[str], required: Sequence[str], optional: Sequence[str]
) -> Iterable[FieldError]:
    for name in required:
        if name not in names:
            yield FieldError(f"line {number}", f"the column {name} is missing from the header")
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield FieldError(f"line {number}", f"the column {name} stands twice in the header")
    for name in names:
        if name not in (*required, *optional):
            known = ", ".join((*required, *optional))
            yield FieldError(f"line {number}", f"the column “{name[:40]}” is not known; known are {known}")
