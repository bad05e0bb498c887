"""The shape shared by all commands that answer one JSON document with another."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand

from bookings.rules.errors import FieldError, InputErrors


class JsonCommand(BaseCommand):
    """Read a JSON document from a file or standard input, print the answer, exit 0; on bad input exit 2."""

    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("document", help="a JSON file, or - for standard input")

    def answer(self, document: Any) -> dict[str, Any]:
        """Turn the parsed document into the answer; raise InputErrors for anything wrong with it."""
        raise NotImplementedError(f"{type(self).__name__} must answer")

    def handle(self, *args: Any, document: str, **options: Any) -> None:
        try:
            answer = self.answer(_parse(_read(document)))
        except InputErrors as refused:
            self._refuse(refused)
        self.stdout.write(json.dumps(answer, allow_nan=False))

    def _refuse(self, refused: InputErrors) -> NoReturn:
        errors = [{"field": error.field, "message": error.message} for error in refused.errors]
        self.stdout.write(json.dumps({"errors": errors}))
        sys.exit(2)


def _read(name: str) -> bytes:
    try:
        return sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    except OSError as error:
        raise InputErrors([FieldError("document", f"cannot read {name}: {error.strerror}")]) from error


def _parse(content: bytes) -> Any:
    try:
        return json.loads(content, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise InputErrors([FieldError("document", f"not a JSON document: {error}")]) from error


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number JSON knows")
