"""What is known of the place and of the numbers behind every estimate."""

from __future__ import annotations
