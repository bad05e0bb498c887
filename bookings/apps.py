from django.apps import AppConfig


class BookingsApp(AppConfig):
    name = "bookings"
