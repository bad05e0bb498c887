from importlib import import_module

from django.apps import AppConfig


class RemindersApp(AppConfig):
    name = "reminders"

    def ready(self) -> None:
        # By name: the app stands below everything else in the import order and only switches the listeners on.
        import_module("reminders.receivers")
