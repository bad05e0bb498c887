from django.apps import AppConfig


class RemindersApp(AppConfig):
    name = "reminders"
