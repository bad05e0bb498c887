"""Loads Celery when Django starts; not in config/__init__.py, which a bare interpreter must import."""

from django.apps import AppConfig


class ConfigApp(AppConfig):
    name = "config"

    def ready(self) -> None:
        from config import celery  # noqa: F401
