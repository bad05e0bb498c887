"""What is known of one bike: readings, tours, washes and findings."""

from __future__ import annotations
