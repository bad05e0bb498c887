"""What every page shares: name, phone, headers; and the pages for what goes wrong."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager

import pytest
from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.urls import path
from django.views import defaults

from bookings.models import Shop
from config.urls import urlpatterns as site

pytestmark = pytest.mark.django_db


def broken(request: HttpRequest) -> HttpResponse:
    raise RuntimeError("secret inside")


def forbidden(request: HttpRequest) -> HttpResponse:
    raise PermissionDenied


def suspicious(request: HttpRequest) -> HttpResponse:
    raise SuspiciousOperation("secret inside")


urlpatterns = [path("broken/", broken), path("forbidden/", forbidden), path("suspicious/", suspicious), *site]


@override_settings(ROOT_URLCONF=__name__)
@pytest.mark.parametrize("is_open", [True, False])
@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        ("/broken/", 500, "Something broke on our side"),
        ("/forbidden/", 403, "This is not for you to open"),
        ("/suspicious/", 400, "We could not read that"),
        ("/nowhere/", 404, "There is nothing here"),
    ],
)
def test_what_goes_wrong_is_said_plainly(
    address: str, status: int, words: str, is_open: bool, request: pytest.FixtureRequest
) -> None:
    if is_open:
        request.getfixturevalue("shop_world")
    answer = Client(raise_request_exception=False).get(address)
    text = answer.content.decode()
    assert answer.status_code == status
    assert words in text
    assert "secret" not in text
    assert "Content-Security-Policy" in answer.headers


def test_the_page_for_a_broken_site_asks_the_database_nothing(
    django_assert_num_queries: Callable[[int], AbstractContextManager[None]],
) -> None:
    with django_assert_num_queries(0):
        answer = defaults.server_error(HttpRequest())
    assert answer.status_code == 500
    assert b"Something broke on our side" in answer.content


def test_pages_bring_nothing_from_elsewhere_and_no_inline_code(shop_world: Shop, client: Client) -> None:
    for address in ("/", "/nowhere/"):
        answer = client.get(address)
        text = answer.content.decode()
        assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
        assert "style=" not in text
        assert "<style" not in text
        assert "http://" not in text
        assert "https://" not in text
        assert f'href="tel:{shop_world.phone_e164}">Ring 01632 960142</a>' in text
