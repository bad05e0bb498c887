"""A shop on the open internet: refuses to start on defaults that are only fit for one machine."""

from __future__ import annotations

import os

from django.core.exceptions import ImproperlyConfigured

from config.settings.base import *  # noqa: F403

_NEEDED = {
    "SECRET_KEY": "a long random text, kept secret",
    "PUBLIC_URL": "the https:// address riders see",
    "DATABASE_URL": "postgres://… or sqlite:///…",
    "REDIS_URL": "redis://… of the broker",
    "MAIL_FROM": "the address mail comes from and replies go to",
}
_missing = [f"{name} ({meaning})" for name, meaning in _NEEDED.items() if not os.environ.get(name)]
if _missing:
    raise ImproperlyConfigured("Rimebook will not start without: " + "; ".join(_missing))
if not os.environ["PUBLIC_URL"].startswith("https://"):
    raise ImproperlyConfigured("PUBLIC_URL must begin with https://, or private links would travel in the open")
if len(os.environ["SECRET_KEY"]) < 50:
    raise ImproperlyConfigured("SECRET_KEY must be at least 50 characters long")

DEBUG = False
SECRET_KEY = os.environ["SECRET_KEY"]
ACCEPT_PASSED_NOW = False
MAILBOX_DIR = ""  # its pages show riders' private links to whoever asks
ALLOWED_HOSTS = os.environ.get("ALLOWED_HOSTS", os.environ["PUBLIC_URL"].split("//")[1].split("/")[0]).split(",")
CSRF_TRUSTED_ORIGINS = [os.environ["PUBLIC_URL"].rstrip("/")]
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_SECURE = True
SECURE_SSL_REDIRECT = os.environ.get("SECURE_SSL_REDIRECT", "1") == "1"
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if os.environ.get("BEHIND_PROXY") == "1" else None
SECURE_HSTS_SECONDS = 31_536_000
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True
