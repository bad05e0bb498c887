"""Settings of the test suite; engines and servers come from the environment that `manage.py test` makes."""

from __future__ import annotations

from config.settings.base import *  # noqa: F403
from config.settings.base import CELERY as BASE_CELERY

DEBUG = False
SECRET_KEY = "only-for-tests-" + "x" * 50
ALLOWED_HOSTS = ["127.0.0.1", "localhost", "testserver"]
PUBLIC_URL = "http://testserver"
ACCEPT_PASSED_NOW = True
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # speed only; production is asserted elsewhere
CELERY = {**BASE_CELERY, "task_always_eager": False}
