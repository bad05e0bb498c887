"""Records kept by hand can be edited; what services own can only be looked at, so no door goes round the rules."""

from __future__ import annotations

import pytest
from django.contrib import admin
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.forms import model_to_dict
from django.test import Client, RequestFactory
from django.urls import reverse

from bookings.models import (
    BookingRequest,
    Claim,
    Closure,
    CoatApplied,
    Job,
    Product,
    SafetySignOff,
    Shop,
    StepDone,
    Tier,
    Visit,
    VisitEvent,
)
from tests.pages.bench_walk import rows, text
from tests.parts.visits import START, coat, confirmed, in_work, sign_all

pytestmark = pytest.mark.django_db

SEASON = ("salt_season_from", "salt_season_to")
OWNED = (BookingRequest, Claim, Job, Visit)
OWNED_INLINE = {VisitEvent, StepDone, CoatApplied, SafetySignOff}


@pytest.fixture
def owner(shop_world: Shop) -> Client:
    client = Client()
    client.force_login(User.objects.create_superuser("owner"))
    return client


@pytest.mark.parametrize("model", OWNED)
def test_rows_of_the_services_are_shown_and_not_changed(owner: Client, model: type[Visit]) -> None:
    job = in_work()
    coat(job)
    sign_all(job)
    row = model.objects.all()[0]
    before = rows()
    place = f"admin:bookings_{model._meta.model_name}"
    assert owner.get(reverse(f"{place}_changelist")).status_code == 200
    page = owner.get(reverse(f"{place}_change", args=[row.pk]))
    assert page.status_code == 200
    assert 'name="_save"' not in text(page)
    assert owner.post(reverse(f"{place}_change", args=[row.pk]), {"state": "collected"}).status_code == 403
    assert owner.post(reverse(f"{place}_delete", args=[row.pk]), {"post": "yes"}).status_code == 403
    assert owner.get(reverse(f"{place}_add")).status_code == 403
    actions = {"action": "delete_selected", "_selected_action": [row.pk], "post": "yes"}
    owner.post(reverse(f"{place}_changelist"), actions)
    assert rows() == before


def test_nothing_of_the_services_hides_in_another_record() -> None:
    """Also tables shown inside a record: none of the services' own may be added to, changed or deleted there."""
    request = RequestFactory().get("/")
    request.user = User(is_superuser=True, is_active=True, is_staff=True)
    seen = set()
    for model_admin in admin.site._registry.values():
        for inline in model_admin.get_inline_instances(request):
            if inline.model in OWNED_INLINE:
                seen.add(inline.model)
                assert not inline.has_add_permission(request, None)
                assert not inline.has_change_permission(request)
                assert not inline.has_delete_permission(request)
    assert seen == OWNED_INLINE
    assert not OWNED_INLINE & set(admin.site._registry)


def test_records_kept_by_hand_open_and_save(owner: Client) -> None:
    product = Product.objects.all()[0]
    typed = {"name": product.name, "coat_kind": product.coat_kind, "curing_minutes": 90, "no_wash_days": 3}
    assert owner.post(reverse("admin:bookings_product_change", args=[product.pk]), typed).status_code == 302
    product.refresh_from_db()
    assert product.curing_minutes == 90
    for name in ("shop", "openinghours", "closure", "bay", "climatemonth", "tier", "product", "rider", "bike"):
        assert owner.get(reverse(f"admin:bookings_{name}_changelist")).status_code == 200, name
    assert owner.get(reverse("admin:bookings_tier_change", args=[Tier.objects.all()[0].pk])).status_code == 200


def test_a_number_typed_into_a_record_is_stored_like_any_other(owner: Client) -> None:
    rider = confirmed().bike.rider
    address = reverse("admin:bookings_rider_change", args=[rider.pk])
    typed = {"name": rider.name, "email": rider.email, "bikes-TOTAL_FORMS": 0, "bikes-INITIAL_FORMS": 0}
    assert "too short" in text(owner.post(address, typed | {"phone_e164": "12"}))
    assert owner.post(address, typed | {"phone_e164": "(07700) 900 555"}).status_code == 302
    rider.refresh_from_db()
    assert rider.phone_e164 == "+447700900555"
    nobody = owner.post(address, typed | {"phone_e164": "", "email": ""})
    assert "Give an email address or a phone number." in text(nobody)


def test_the_months_of_a_bike_are_ticked(owner: Client) -> None:
    bike = confirmed().bike
    address = reverse("admin:bookings_bike_change", args=[bike.pk])
    typed = {
        "rider": bike.rider_id, "description": bike.description, "kind": "bare", "storage": "heated",
        "km_per_year": 4000, "washes_per_year": 6, "road_salt": "none",
    }  # fmt: skip
    assert owner.post(address, typed | {"riding_months": ["5", "13"]}).status_code == 200
    assert owner.post(address, typed | {"riding_months": ["5", "6"]}).status_code == 302
    bike.refresh_from_db()
    assert bike.riding_months == [5, 6]


def as_typed(shop: Shop) -> dict[str, object]:
    """The shop as its own record's page sends it back, what is not set left empty."""
    return {field: "" if value is None else value for field, value in model_to_dict(shop).items()}


def test_the_shops_number_is_read_in_its_own_region(owner: Client, shop_world: Shop) -> None:
    address = reverse("admin:bookings_shop_change", args=[1])
    typed = as_typed(shop_world) | {"phone_e164": "01632 960 143"}
    assert owner.post(address, typed).status_code == 302
    shop_world.refresh_from_db()
    assert shop_world.phone_e164 == "+441632960143"
    assert "is not a time zone" in text(owner.post(address, typed | {"time_zone": "Mars/Olympus"}))


@pytest.mark.parametrize(
    ("first", "last", "field", "message"),
    [
        ("11-31", "03-31", "salt_season_from", "“11-31” is not a day as month-day"),
        ("11-01", "31-3", "salt_season_to", "“31-3” is not a day as month-day"),
        ("", "03-31", "salt_season_from", "Give the first and the last day, or neither."),
        ("11-01", "", "salt_season_to", "Give the first and the last day, or neither."),
    ],
)
def test_a_salt_season_is_refused_at_its_field(
    owner: Client, shop_world: Shop, first: str, last: str, field: str, message: str
) -> None:
    typed = as_typed(shop_world) | {"salt_season_from": first, "salt_season_to": last}
    page = owner.post(reverse("admin:bookings_shop_change", args=[1]), typed)
    errors = page.context["adminform"].form.errors
    assert list(errors) == [field] and message in errors[field][0]
    shop_world.refresh_from_db()
    assert (shop_world.salt_season_from, shop_world.salt_season_to) == ("", "")


def test_a_salt_season_is_kept_and_taken_back(owner: Client, shop_world: Shop) -> None:
    address, typed = reverse("admin:bookings_shop_change", args=[1]), as_typed(shop_world)
    for season in ({"salt_season_from": "11-01", "salt_season_to": "02-29"}, dict.fromkeys(SEASON, "")):
        assert owner.post(address, typed | season).status_code == 302
        shop_world.refresh_from_db()
        assert {field: getattr(shop_world, field) for field in SEASON} == season


def test_no_shop_is_stored_with_half_a_salt_season(shop_world: Shop) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Shop.objects.update(salt_season_from="11-01")


def test_closing_a_day_with_visits_warns(owner: Client) -> None:
    confirmed()
    answer = owner.post(reverse("admin:bookings_closure_add"), {"day": START.date(), "reason": "flu"}, follow=True)
    assert Closure.objects.count() == 1
    assert "One visit is booked on that day and stays booked" in text(answer)


def test_signing_in_to_the_records_looks_like_signing_in_to_the_workbench(shop_world: Shop) -> None:
    page = Client().get(reverse("admin:index"), follow=True)
    assert "Sign in to the workbench" in text(page)


def test_there_is_one_shop_and_it_stays(owner: Client) -> None:
    assert owner.get(reverse("admin:bookings_shop_add")).status_code == 403
    assert owner.post(reverse("admin:bookings_shop_delete", args=[1]), {"post": "yes"}).status_code == 403
