"""Who may come in, by which requests, and that looking changes nothing."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from bookings import staff_urls
from bookings.models import Shop, Visit
from tests.pages.bench_walk import act, rows, staff_at, text
from tests.parts.visits import NOW, in_work, pencilled

pytestmark = pytest.mark.django_db
PASSWORD = "only for tests 4711"


def addresses(visit: Visit) -> list[str]:
    """Every address of the workbench, taken from its own list, so that a new page is covered the day it is added."""
    values: dict[str, dict[str, int | str]] = {
        "pk": {"book": visit.bike.pk},
        "verb": {"press": "tick", "act": "confirm"},
    }
    found = []
    for pattern in staff_urls.staff_patterns:
        name = str(pattern.name)
        wanted = pattern.pattern.converters
        arguments = {key: values[key].get(name, visit.pk) for key in wanted}
        found.append(reverse(f"staff:{name}", kwargs=arguments))
    return found


@pytest.mark.parametrize("who", ["nobody", "a rider", "one who left"])
def test_only_staff_come_in(shop_world: Shop, who: str) -> None:
    visit = in_work().visit
    client = Client()
    if who != "nobody":
        user = User.objects.create_user("lee", password=PASSWORD, is_staff=who != "a rider")
        client.force_login(user)
        User.objects.filter(pk=user.pk, username="lee").update(is_active=who == "a rider")
    before = rows()
    for address in addresses(visit):
        for answer in (client.get(address), client.post(address, {"step": "1"})):
            if answer.status_code == 405:
                continue  # a press at the bench is never looked at
            assert answer.status_code == 302, address
            assert answer.headers["Location"].startswith(reverse("sign-in") + "?next=/workbench/"), address
    assert rows() == before


def test_looking_changes_nothing(shop_world: Shop) -> None:
    visit, client = in_work().visit, staff_at()
    before = rows()
    for address in addresses(visit):
        assert client.get(address).status_code in {200, 405}, address
    assert rows() == before


def test_a_post_without_its_token_is_refused(shop_world: Shop) -> None:
    visit = pencilled()
    client = staff_at(enforce_csrf_checks=True)
    before = rows()
    for address in [*addresses(visit), reverse("sign-out")]:
        assert client.post(address).status_code in {403, 405}, address
    assert rows() == before


def test_pages_carry_the_policy_and_are_not_kept(shop_world: Shop) -> None:
    answer = staff_at().get(reverse("staff:today"))
    assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
    assert "no-store" in answer.headers["Cache-Control"]


def test_signing_in_and_out(shop_world: Shop) -> None:
    User.objects.create_user("lee", password=PASSWORD, is_staff=True)
    client = Client()
    wrong = client.post(reverse("sign-in"), {"username": "lee", "password": "nearly"})
    assert wrong.status_code == 422
    assert 'value="lee"' in text(wrong)
    assert "nearly" not in text(wrong)
    right = client.post(reverse("sign-in"), {"username": "lee", "password": PASSWORD, "next": "/workbench/diary/"})
    assert right.headers["Location"] == "/workbench/diary/"
    assert client.get(reverse("sign-out")).status_code == 405
    assert client.get(reverse("staff:today")).status_code == 200
    assert client.post(reverse("sign-out")).status_code == 302
    assert client.get(reverse("staff:today")).status_code == 302


def test_signing_in_leads_nowhere_else(shop_world: Shop) -> None:
    User.objects.create_user("lee", password=PASSWORD, is_staff=True)
    typed = {"username": "lee", "password": PASSWORD, "next": "https://elsewhere.example.org/"}
    assert Client().post(reverse("sign-in"), typed).headers["Location"] == reverse("staff:today")


def test_a_rider_with_a_password_is_told_so(shop_world: Shop) -> None:
    User.objects.create_user("lee", password=PASSWORD)
    answer = Client().post(reverse("sign-in"), {"username": "lee", "password": PASSWORD})
    assert answer.status_code == 422
    assert "may not use the workbench" in text(answer)


def test_before_the_shop_is_set_up_the_pages_say_so(db: None) -> None:
    for name in ("today", "calls", "diary", "book-new"):
        answer = staff_at().get(reverse(f"staff:{name}"))
        assert answer.status_code == 503
        assert "not set up yet" in text(answer)


def test_the_trail_names_the_person_and_not_the_login(shop_world: Shop) -> None:
    visit = pencilled()
    act(visit, "confirm", NOW, said_yes_by="Ilka")
    assert visit.events.latest("pk").actor == "Morgan"
