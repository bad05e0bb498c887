"""Feeds as calendar programs read them, and the pages on which their addresses are made, changed and stopped."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

import pytest
import vobject
from django.contrib.auth.models import User
from django.test import Client
from icalendar import Calendar

from bookings.links import bike_token, visit_token
from bookings.models import Bike, Rider, Shop, Visit
from bookings.services import bookings
from reminders import links
from reminders.models import CoatDue, Feed, Notice
from reminders.services import feeds, planning, sending
from tests.parts.stories import MORNING, STAFF, collected, confirmed, pencilled

pytestmark = pytest.mark.django_db
SECRETS = ("Ines", "Halloway", "ines@example.org", "07700", "+44", "TE57")


def now_is(moment: datetime) -> dict[str, str]:
    return {"X-Rimebook-Now": moment.isoformat()}


def press(client: Client, page: str, what: str) -> str:
    """The address the page shows after a button was pressed."""
    answer = client.post(page, {"what": what}, headers=now_is(MORNING), follow=True)
    assert answer.status_code == 200
    found = re.search(r'value="http://testserver(/calendar/[^"]+)"', answer.content.decode())
    return found[1] if found else ""


@pytest.fixture
def own(shop_world: Shop, staff_client: Client) -> str:
    return press(staff_client, "/workbench/calendar/", "make")


@pytest.fixture
def bike(shop_world: Shop) -> Bike:
    visit, moment = collected(datetime(2025, 11, 3, 9, 0, tzinfo=UTC))
    planning.plan(now=moment)
    return visit.bike


def read(client: Client, address: str, moment: datetime = MORNING, **headers: str) -> bytes:
    answer = client.get(address, headers=now_is(moment) | headers)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    return answer.content


def test_the_shop_s_days_with_no_rider_in_them(own: str, client: Client) -> None:
    first, second = confirmed(), pencilled(name="Bo Lind", email="bo@example.org", phone="+447700900124")
    content = read(client, own)
    calendar = vobject.readOne(content.decode())
    assert calendar.method.value == "PUBLISH"
    events = {event.uid.value: event for event in calendar.vevent_list}
    assert set(events) == {f"day-{visit.calendar_uid}" for visit in (first, second)}
    event = events[f"day-{first.calendar_uid}"]
    assert (event.dtstart.value, event.dtend.value) == (first.starts_at, first.work_until)
    assert event.status.value == "CONFIRMED" and not hasattr(event, "attendee")
    assert events[f"day-{second.calendar_uid}"].status.value == "TENTATIVE"
    assert not [secret for secret in SECRETS if secret.encode() in content]
    assert len(Calendar.from_ical(content).walk("VEVENT")) == 2


def test_a_visit_called_off_shows_so_for_a_month_and_then_vanishes(own: str, client: Client) -> None:
    visit = bookings.call_off(visit=confirmed(), now=MORNING, actor=STAFF, reason="")
    [event] = vobject.readOne(read(client, own).decode()).vevent_list
    assert (event.status.value, event.sequence.value) == ("CANCELLED", str(visit.calendar_sequence))
    assert Calendar.from_ical(read(client, own, MORNING + timedelta(days=29, hours=23))).walk("VEVENT")
    assert Calendar.from_ical(read(client, own, MORNING + timedelta(days=31))).walk("VEVENT") == []


def test_the_due_months_of_a_bike_as_whole_days(bike: Bike, client: Client) -> None:
    address = press(client, f"/bike/{bike_token(bike)}/calendar/", "make")
    content = read(client, address)
    rows = {f"coat-{row.coat_id}@rimebook": row for row in CoatDue.objects.exclude(due_early=None)}
    events = vobject.readOne(content.decode()).vevent_list
    assert {event.uid.value for event in events} == set(rows) and rows
    for event in events:
        row = rows[event.uid.value]
        assert row.due_early is not None
        assert event.dtstart.value == row.due_early and type(event.dtstart.value) is date
        last = row.due_late or row.due_likely or row.due_early
        assert event.dtend.value == last + timedelta(days=1)  # exclusive (RFC 5545, 3.6.1)
        assert event.transp.value == "TRANSPARENT" and "estimate" in event.summary.value
    assert not [secret for secret in SECRETS if secret.encode() in content]


def test_who_has_it_already_is_told_so(own: str, client: Client) -> None:
    visit = confirmed()
    first = client.get(own, headers=now_is(MORNING))
    etag, since = first["ETag"], first["Last-Modified"]
    assert first["Cache-Control"] == "private, no-cache"
    later = MORNING + timedelta(hours=3)
    for asked in ({"If-None-Match": etag}, {"If-Modified-Since": since}):
        again = client.get(own, headers=now_is(later) | asked)
        assert (again.status_code, again.content) == (304, b"")
        assert again["ETag"] == etag
    assert client.head(own, headers=now_is(later)).status_code == 200
    # A change no stamp tells of, such as a bike described anew, is one all the same.
    Bike.objects.filter(pk=visit.bike_id).update(description="Black twin")
    for asked in ({"If-None-Match": etag}, {"If-Modified-Since": since}):
        changed = client.get(own, headers=now_is(later) | asked)
        assert changed.status_code == 200 and b"Black twin" in changed.content
    assert client.get(own, headers=now_is(later))["ETag"] != etag


def test_an_address_can_be_changed_and_stopped(own: str, client: Client, staff_client: Client) -> None:
    other = press(staff_client, "/workbench/calendar/", "change")
    assert other and other != own
    assert client.get(own).status_code == 404 and client.get(other).status_code == 200
    assert press(staff_client, "/workbench/calendar/", "stop") == ""
    assert client.get(other).status_code == 404
    third = press(staff_client, "/workbench/calendar/", "make")
    assert third not in (own, other) and client.get(third).status_code == 200
    assert client.get(other).status_code == 404
    assert Feed.objects.count() == 1
    press(staff_client, "/workbench/calendar/", "nonsense")
    assert client.get(third).status_code == 200


def test_nobody_reads_on_after_leaving_and_no_forged_address_opens(
    own: str, bike: Bike, client: Client, staff_user: User
) -> None:
    feed = Feed.objects.get()
    forged = own.replace(own[len("/calendar/") : len("/calendar/") + 4], "AAAA")
    for address in (forged, "/calendar/x.ics", f"/calendar/{bike_token(bike)}.ics", own.replace(".ics", "x.ics")):
        assert client.get(address).status_code == 404
    assert client.post(own).status_code == 405
    User.objects.filter(pk=staff_user.pk).update(is_active=False)
    assert client.get(own).status_code == 404
    of_bike = feeds.open_for(bike=bike, now=MORNING)
    token = links.feed_token(of_bike)
    assert links.feed_of(token) == of_bike
    Bike.objects.filter(pk=bike.pk).update(link_serial=7)  # every private link of the bike is revoked
    assert links.feed_of(token) is None
    assert feed.user == staff_user


def test_the_file_and_the_invitation_name_one_organizer(shop_world: Shop, client: Client) -> None:
    Shop.objects.update(email="front.desk@example.com")
    visit = confirmed()
    sending.sweep(now=MORNING + timedelta(hours=1))
    mailed = vobject.readOne(Notice.objects.get(kind="confirmed").calendar_text).vevent
    content = client.get(f"/visit/{visit_token(visit)}/visit.ics").content.decode()
    loaded = vobject.readOne(content).vevent
    assert loaded.organizer.value == mailed.organizer.value == "mailto:workshop@example.com"
    assert loaded.uid.value == mailed.uid.value and loaded.sequence.value == mailed.sequence.value


def test_what_is_not_right_is_told_and_shown_to_staff(shop_world: Shop, client: Client, staff_client: Client) -> None:
    visit, moment = collected()
    page = f"/not-right/{links.not_right_token(visit)}/"
    assert client.get(page).status_code == 200
    refused = client.post(page, {"words": " "}, headers=now_is(moment))
    assert refused.status_code == 422 and b"Say in a few words" in refused.content
    for _ in range(2):
        client.post(page, {"words": "A <b>scratch</b>"}, headers=now_is(moment))
    told = client.get(page).content.decode()
    assert told.count("A &lt;b&gt;scratch&lt;/b&gt;") == 1 and "find a time for you" in told
    bench = staff_client.get("/workbench/notices/", headers=now_is(moment)).content.decode()
    assert "Not right after a visit" in bench and "A &lt;b&gt;scratch" in bench
    ask = visit.return_asks.get()
    staff_client.post(f"/workbench/notices/not-right/{ask.pk}/seen-to/", headers=now_is(moment))
    assert b"Not right after a visit" not in staff_client.get("/workbench/notices/").content
    assert "We have seen to it." in client.get(page).content.decode()
    Visit.objects.filter(pk=visit.pk).update(link_serial=9)
    assert client.get(page).status_code == 404


def test_addresses_of_the_morning_mail_are_checked(shop_world: Shop, admin_client: Client) -> None:
    fields = admin_client.get("/workbench/records/bookings/shop/1/change/").context["adminform"].form.initial
    data = {name: value if value is not None else "" for name, value in fields.items()}
    wrong = admin_client.post(
        "/workbench/records/bookings/shop/1/change/", data | {"morning_mail_also_to": "ari@example.org, nobody"}
    )
    assert "“nobody” is not an email address" in wrong.content.decode()
    right = admin_client.post(
        "/workbench/records/bookings/shop/1/change/", data | {"morning_mail_also_to": "ari@example.org,bo@example.org,"}
    )
    assert right.status_code == 302
    assert Shop.objects.get().morning_mail_also_to == "ari@example.org, bo@example.org"
    assert Rider.objects.count() == 0
