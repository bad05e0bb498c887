"""Settings of the test suite; engines and servers come from the environment that `manage.py test` makes."""

from __future__ import annotations

import os

from config.settings.base import *  # noqa: F403
from config.settings.base import CELERY as BASE_CELERY
from config.settings.base import DATABASES
from config.settings.base import EMAIL_TIMEOUT as BASE_EMAIL_TIMEOUT

DEBUG = False
SECRET_KEY = "only-for-tests-" + "x" * 50
ALLOWED_HOSTS = ["127.0.0.1", "localhost", "testserver"]
PUBLIC_URL = os.environ.get("PUBLIC_URL", "http://testserver")
ACCEPT_PASSED_NOW = True
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # speed only; production is asserted elsewhere
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = True

# A killed process loses nothing without the disk's confirmation, only a power cut would; tests need no more.
_options = DATABASES["default"].get("OPTIONS", {})
if "init_command" in _options:
    _options["init_command"] = _options["init_command"].replace("synchronous=FULL", "synchronous=OFF")

# All waits keep their proportions: what takes five minutes in a shop takes five divided by this.
HASTE = int(os.environ.get("RIMEBOOK_HASTE", "1"))
EMAIL_TIMEOUT = max(1, BASE_EMAIL_TIMEOUT // HASTE)

# Without a broker of its own a test's wake-ups go nowhere, quickly; the fixture `broker` brings a real one.
CELERY = {
    **BASE_CELERY,
    "broker_url": os.environ.get("REDIS_URL", "memory://"),
    "task_publish_retry": False,
    "task_soft_time_limit": BASE_CELERY["task_soft_time_limit"] / HASTE,
    "task_time_limit": BASE_CELERY["task_time_limit"] / HASTE,
    "broker_transport_options": {
        **BASE_CELERY["broker_transport_options"],
        "visibility_timeout": BASE_CELERY["broker_transport_options"]["visibility_timeout"] / HASTE,
    },
}
