"""The invented shop and somebody signed in to its workbench."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client

from bookings.models import Shop
from config.demo.shop import open_shop

STAFF_NAME = "morgan"
STAFF_PASSWORD = "only for tests 4711"


@pytest.fixture
def shop_world(db: None) -> Shop:
    """The demonstration's shop: seven days a week, two bays, five tiers, four products, an invented climate.

    It writes no morning mail to itself, which would stand among the notices every test counts.
    """
    shop = open_shop()
    shop.morning_mail_at = None
    shop.save(update_fields=["morning_mail_at"])
    return shop


@pytest.fixture
def staff_user(db: None) -> User:
    """A member of staff."""
    return User.objects.create_user(STAFF_NAME, password=STAFF_PASSWORD, is_staff=True)


@pytest.fixture
def staff_client(staff_user: User) -> Client:
    """A client signed in to the workbench."""
    client = Client()
    client.force_login(staff_user)
    return client
