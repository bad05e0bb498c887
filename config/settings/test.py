"""Settings of the test suite; engines and servers come from the environment that `manage.py test` makes."""

from __future__ import annotations

import os

from config.settings.base import *  # noqa: F403
from config.settings.base import CELERY as BASE_CELERY
from config.settings.base import DATABASES

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

# Without a broker of its own a test's wake-ups go nowhere, quickly; the fixture `broker` brings a real one.
CELERY = {**BASE_CELERY, "broker_url": os.environ.get("REDIS_URL", "memory://"), "task_publish_retry": False}
