#!/usr/bin/env python3
"""Rimebook's one entry point: makes its own environment on first use, then hands over to Django."""

import os
import sys

from config import bootstrap


def main() -> None:
    bootstrap.enter(sys.argv)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.local")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
