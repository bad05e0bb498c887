"""Settings every way of running shares. Secrets and addresses come from the environment only."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import dj_database_url

BASE_DIR = Path(__file__).resolve().parent.parent.parent
DATA_DIR = Path(os.environ.get("RIMEBOOK_DATA", BASE_DIR / ".run" / "shop"))

INSTALLED_APPS = [
    "config.apps.ConfigApp",
    "bookings.apps.BookingsApp",
    "reminders.apps.RemindersApp",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",  # so that config/templates may override how fields are written
    "anymail",
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "config.middleware.PolicyHeaders",
    "bookings.clock.RequestClock",
    "config.middleware.ShopZone",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "config" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "config.context.frame",
            ],
        },
    },
]


def database(url: str) -> dict[str, Any]:
    """Settings for `url`; SQLite takes its write lock at BEGIN, or two writers could both read first."""
    parsed: dict[str, Any] = dict(dj_database_url.parse(url))
    if parsed["ENGINE"].endswith("sqlite3"):
        parsed["OPTIONS"] = {
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
        }
    else:
        parsed["CONN_MAX_AGE"] = 60
        parsed["CONN_HEALTH_CHECKS"] = True
        parsed["OPTIONS"] = {"options": "-c lock_timeout=5000 -c idle_in_transaction_session_timeout=30000"}
    return parsed


DATABASES = {"default": database(os.environ.get("DATABASE_URL", f"sqlite:///{DATA_DIR / 'rimebook.sqlite3'}"))}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "staff:today"
LOGOUT_REDIRECT_URL = "sign-in"

LANGUAGE_CODE = "en-gb"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"  # what is stored; people see the shop's own zone

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
MEDIA_ROOT = DATA_DIR / "media"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "config.views.csrf_failure"
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

# Links in mail are built from this address, never from the request that caused them.
PUBLIC_URL = os.environ.get("PUBLIC_URL", "http://127.0.0.1:8000").rstrip("/")
SITE_SALT = "rimebook"

MAIL_FROM = os.environ.get("MAIL_FROM", "workshop@example.com")
EMAIL_BACKEND = os.environ.get("EMAIL_BACKEND", "reminders.mailer.PhasedSmtpBackend")
EMAIL_HOST = os.environ.get("EMAIL_HOST", "127.0.0.1")
EMAIL_PORT = int(os.environ.get("EMAIL_PORT", "2525"))
EMAIL_HOST_USER = os.environ.get("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("EMAIL_HOST_PASSWORD", "")
EMAIL_USE_TLS = os.environ.get("EMAIL_USE_TLS", "") == "1"
# Long enough for a slow final reply, shorter than the lease on a notice being sent.
EMAIL_TIMEOUT = int(os.environ.get("EMAIL_TIMEOUT", "60"))
ANYMAIL = {name.removeprefix("ANYMAIL_"): value for name, value in os.environ.items() if name.startswith("ANYMAIL_")}
# The most notices a stream hands over in a minute, 0 for no limit. Recall mail that has piled up leaves in portions.
MAIL_A_MINUTE = {
    "service": int(os.environ.get("SERVICE_MAIL_A_MINUTE", "0")),
    "recall": int(os.environ.get("RECALL_MAIL_A_MINUTE", "30")),
}
# Every wait of the outbox is divided by this: leases, retries, ticks, limits. Only studies of faults are in haste.
HASTE = 1
# Where the local mailbox keeps what it was sent; empty when mail goes out into the world.
MAILBOX_DIR = os.environ.get("MAILBOX_DIR", "")
# Directory of climate station files a shop has obtained itself; empty when there is none.
STATIONS_DIR = os.environ.get("RIMEBOOK_STATIONS", "")

# Only the demo and tests may pass the moment from outside; a real shop lives by its clock.
ACCEPT_PASSED_NOW = os.environ.get("RIMEBOOK_ACCEPT_PASSED_NOW", "") == "1"

REDIS_URL = os.environ.get("REDIS_URL", "redis://127.0.0.1:6379/0")
CELERY: dict[str, Any] = {
    "broker_url": REDIS_URL,
    "task_ignore_result": True,
    "task_acks_late": True,
    "task_reject_on_worker_lost": True,
    "task_acks_on_failure": True,
    "task_acks_on_timeout": True,
    "worker_prefetch_multiplier": 1,
    "task_soft_time_limit": 200,
    "task_time_limit": 240,
    "broker_connection_retry_on_startup": True,
    "worker_cancel_long_running_tasks_on_connection_loss": True,
    "worker_soft_shutdown_timeout": 20,
    "worker_hijack_root_logger": False,
    # The visibility timeout stays above the hard time limit, or a running task would be handed out twice.
    "broker_transport_options": {
        "visibility_timeout": 300,
        "unacked_restore_interval": 10,
        "unacked_restore_throttle": 1,
        "socket_connect_timeout": 5,
        "health_check_interval": 25,
        # A wake-up that finds no broker gives up at once; kombu would otherwise sleep two seconds in the request.
        "max_retries": 1,
        "interval_start": 0,
    },
    "timezone": "UTC",
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": os.environ.get("LOG_LEVEL", "WARNING")},
}
