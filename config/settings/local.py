"""A shop on one machine, and the demo: nothing needs to be set."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from config.settings.base import *  # noqa: F403
from config.settings.base import DATA_DIR

DEBUG = False
ALLOWED_HOSTS = ["127.0.0.1", "localhost", "[::1]"]


def _kept_secret(path: Path) -> str:
    """A secret made once for this machine, so that links in mail outlive a restart."""
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(64))
    except FileExistsError:
        pass
    return path.read_text()


SECRET_KEY = os.environ.get("SECRET_KEY") or _kept_secret(DATA_DIR / "secret-key")
WHITENOISE_USE_FINDERS = True  # a shop on one machine need not collect static files first
