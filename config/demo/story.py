"""The story, played through the running site: two riders book, their bikes are treated, one is called back.

Riders and staff use the pages over HTTP; schedules and messages come from the real worker. What the story promises
is checked as it goes, and the first broken promise ends it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any

from django.conf import settings
from django.urls import reverse

from bookings.models import Product, Visit
from bookings.rules.types import VisitState
from bookings.selectors import require_shop
from config.demo.client import Page, Refused, Visitor
from config.demo.course import free_hook
from config.demo.history import History
from config.demo.rounds import Rounds
from config.demo.shop import read
from config.mailbox import Letter, letters
from reminders.models import CoatDue, Notice, Recall

TIER = "full-treatment"
# Late in October, when roads are gritted and the first nights of frost have come.
BOOKED_ON = (10, 29)
# Notices go out early in September; by this day of it they have been answered, and the tale can be told.
ANSWERED_BY = (9, 12)


class BrokenPromise(RuntimeError):
    """Something the story promises did not come true."""


def promise(kept: bool, words: str) -> None:
    """Go on only if a promise was kept."""
    if not kept:
        raise BrokenPromise(words)


@dataclass
class Part:
    """One rider of the story and what became of the booking."""

    facts: dict[str, Any]
    visit: Visit | None = None
    mail: dict[str, Letter] = field(default_factory=dict)

    @property
    def booked(self) -> Visit:
        """The visit, fresh from the database."""
        if self.visit is None:
            raise BrokenPromise(f"{self.facts['name']} has no visit")
        return Visit.objects.select_related("bike__rider", "tier", "bay", "request").get(pk=self.visit.pk)


class Story:
    """Plays the story in step with the shop's other life."""

    def __init__(self, history: History, rounds: Rounds, staff: tuple[str, str], checks: list[str]) -> None:
        self.history, self.rounds, self.staff_login, self.checks = history, rounds, staff, checks
        cast = read("cast")
        self.commuter, self.summer = Part(cast["commuter"]), Part(cast["summer"])
        self.began = self._at(date(self._winter(), *BOOKED_ON), time(19, 40))
        self.staff = Visitor(settings.PUBLIC_URL, self.began)

    def _winter(self) -> int:
        """The year of the booking: the notices of the autumn after it must be behind us."""
        present = self.history.present
        return present.year - (1 if (present.month, present.day) >= ANSWERED_BY else 2)

    # Booking

    def book(self, part: Part, now: datetime, not_before: date) -> None:
        """A rider books online on four pages, and presses the last button twice."""
        self._come_to(now)
        rider = Visitor(settings.PUBLIC_URL, now)
        choose = next(link for words, link in rider.get("/").links if f"/{TIER}/" in link)
        page = rider.get(choose)
        bike = {name: _typed(value) for name, value in part.facts["bike"].items()}
        page = rider.submit(page.form("description", "storage"), bike)
        promise("hours" in page.text, "the page says how long the job takes")
        form = rider.get(f"{page.url}&from={not_before.isoformat()}").form("start")
        page = rider.submit(form, {"start": form.choices["start"][0]})
        who = {name: part.facts[name] for name in ("name", "email", "phone", "remarks")} | {"recall_agreed": "on"}
        last = page.form("name", "email", "phone")
        page = rider.submit(last, who, press="Ask for this visit")
        again = rider.submit(last, who, press="Ask for this visit")
        promise(again.url == page.url, "pressing twice leads to the same visit")
        made = Visit.objects.filter(bike__rider__email=part.facts["email"])
        promise(made.count() == 1, "pressing twice books once")
        part.visit = made.get()
        promise(part.booked.state == VisitState.PENCILLED, "the visit is pencilled")
        self._mailed(part, Notice.Kind.PENCILLED, now)

    def sign_in(self, now: datetime) -> None:
        """Staff sign in to the workbench."""
        self._come_to(now)
        name, password = self.staff_login
        page = self.staff.get(reverse("sign-in"))
        page = self.staff.submit(page.form("username"), {"username": name, "password": password})
        promise(page.url.endswith(reverse("staff:today")), "signing in leads to today's bench")

    def confirm(self, part: Part, now: datetime) -> None:
        """Staff ring the rider, who says yes."""
        self._come_to(now)
        page = self.staff.get(reverse("staff:calls") + f"?q={part.facts['phone'][-6:]}")
        promise(part.facts["bike"]["registration"] in page.text, "the phone desk finds the rider by the last digits")
        self._act(part, "confirm", said_yes_by=part.facts["name"], note="by phone")
        promise(part.booked.state == VisitState.CONFIRMED, "the visit is confirmed")
        letter = self._mailed(part, Notice.Kind.CONFIRMED, now)
        promise(letter.calendar_method == "REQUEST", "the confirmation carries an invitation")
        promise(letter.event is not None and letter.event.starts_at == part.booked.starts_at, "for the booked time")

    # Work

    def treat(self, part: Part) -> None:
        """From the eve of the visit to the care sheet."""
        visit = part.booked
        zone = self.history.zone
        eve = self._at(visit.starts_at.astimezone(zone).date() - timedelta(days=1), time(16, 5))
        self._come_to(eve)
        self.rounds.plan(eve)
        self._mailed(part, Notice.Kind.DAY_BEFORE, eve)
        self._come_to(visit.starts_at - timedelta(minutes=10))
        odometer_km, hook = str(part.facts["odometer_km"]), free_hook(self.history.course.chance)
        self._act(part, "drop-off", odometer_km=odometer_km, key_tag=hook, may_remove_fasteners="on")
        self._come_to(visit.starts_at)
        self._act(part, "start")
        end = visit.starts_at + timedelta(minutes=visit.usual_minutes)
        self._tick(part, visit.starts_at, end - timedelta(minutes=25))
        self._come_to(end - timedelta(minutes=20))
        self._coat(part)
        self._come_to(end)
        self._act(part, "finish")
        self._refused(part, "ready", "a bike with open safety checks may not leave")
        self._sign_off(part)
        self._refused(part, "ready", "a bike whose coats still cure may not leave")
        self._come_to(visit.promised_at + timedelta(minutes=30))
        self._act(part, "ready")
        self._mailed(part, Notice.Kind.READY, self.staff.now)
        self._come_to(self.staff.now + timedelta(hours=1))
        self._act(part, "hand-over", collected_by=part.facts["name"])
        promise(part.booked.state == VisitState.COLLECTED, "the bike has gone home")
        self._come_to(self._at(self.staff.now.astimezone(zone).date() + timedelta(days=1), time(10, 0)))
        self.rounds.plan(self.staff.now)
        self._mailed(part, Notice.Kind.CARE_SHEET, self.staff.now)
        promise(self.coats(part).exists(), "the worker has computed a schedule")

    def _tick(self, part: Part, begin: datetime, end: datetime) -> None:
        steps = part.booked.tier.steps.count()
        for number in range(1, steps + 1):
            self._come_to(begin + (end - begin) * number / steps)
            self.staff.submit(self._bench(part).form("step", action=self._press(part, "tick")), {})

    def _coat(self, part: Part) -> None:
        page = self._bench(part)
        self.staff.submit(page.form("removed"), {}, press="Fasteners were taken out")
        together: dict[tuple[str, str], list[str]] = {}
        for zone, product, method in read("catalogue")["usual_coats"][TIER]:
            together.setdefault((product, method), []).append(zone)
        for (product, method), zones in together.items():
            form = self._bench(part).form("zone", "product", action=self._press(part, "coat"))
            key = str(Product.objects.get(name=product).pk)
            self.staff.submit(form, {"zone": zones, "product": key, "method": method, "batch": "B7"})

    def _sign_off(self, part: Part) -> None:
        action = self._press(part, "sign")
        while forms := [form for form in self._bench(part).forms if form.action.endswith(action)]:
            self.staff.submit(forms[0], {"note": "looked at by torchlight"})

    # Recall

    def call_back(self) -> Recall:
        """The date comes round: nothing the day before, one notice on the day, and never a second."""
        commuter, summer = self.commuter.booked.bike, self.summer.booked.bike
        self.history.spared |= {commuter.pk, summer.pk}
        # Where one salt season is over the worker asks for the next; the spring rounds have seen to that.
        self._come_to(self._at(date(self.began.year + 1, 6, 15), time(10, 0)))
        acts = [row.act_by for row in self.coats(self.commuter) if row.act_by]
        promise(bool(acts), "the commuter's coats would not outlast another winter")
        promise(not self.coats(self.summer).filter(act_by__isnull=False).exists(), "the summer bike needs no recall")
        day = min(acts) - timedelta(days=require_shop().recall_lead_days)
        before = self._at(day - timedelta(days=1), time(10, 0))
        self._come_to(before)
        self.rounds.plan(before)
        promise(not Recall.objects.filter(bike=commuter).exists(), "nobody is called before the date has come")
        now = self._at(day, time(10, 0))
        self._come_to(now)
        self.rounds.plan(now)
        recall = Recall.objects.select_related("visit").get(bike=commuter)
        letter = self._mailed(self.commuter, Notice.Kind.RECALL, now)
        promise(letter.is_recall and letter.calendar_method == "REQUEST", "with a proposed day as an invitation")
        self.nothing_twice(now)
        self._answer(recall, letter, now + timedelta(hours=9))
        return recall

    def nothing_twice(self, now: datetime) -> None:
        """Run plan and sweep again, twice, and see that no message comes of it."""
        before = len(letters(settings.MAILBOX_DIR))
        for _ in range(2):
            self.rounds.plan(now)
            self.rounds.sweep(now)
        after = len(letters(settings.MAILBOX_DIR))
        promise(after == before, f"running everything again sent {after - before} messages")
        self.checks.append(f"plan and sweep run twice more at {now:%Y-%m-%d %H:%M} UTC: nothing was sent again")

    def _answer(self, recall: Recall, letter: Letter, now: datetime) -> None:
        """The rider opens the link, as mail scanners do, and only then says yes."""
        self._come_to(now)
        link = re.search(r"https?://\S+/recall/\S+?/(?=\s|$)", letter.body("plain"))
        promise(link is not None, "the notice carries a link to answer with")
        rider = Visitor(settings.PUBLIC_URL, now)
        page = rider.get(link.group() if link else "")
        promise(self._state(recall) == VisitState.PENCILLED, "opening the link books nothing")
        rider.submit(page.form("answer"), {}, press="Yes, I take this day")
        promise(self._state(recall) == VisitState.CONFIRMED, "saying yes books the proposed day")
        self.rounds.deliver(now)
        assert recall.visit is not None
        self.history.course.expect(recall.visit)

    @staticmethod
    def _state(recall: Recall) -> str:
        return Visit.objects.get(recall=recall).state

    # Steps

    def coats(self, part: Part) -> Any:
        """The estimates of the coats of a part's first visit."""
        return CoatDue.objects.filter(schedule__visit=part.booked).select_related("coat", "schedule")

    def _act(self, part: Part, verb: str, **values: str) -> Page:
        address = reverse("staff:act", args=[part.booked.pk, verb])
        page = self.staff.get(address)
        form = next(form for form in page.forms if form.method == "post" and not form.action.endswith("sign-out/"))
        return self.staff.submit(form, values)

    def _refused(self, part: Part, verb: str, words: str) -> None:
        state = part.booked.state
        try:
            self._act(part, verb)
        except Refused:
            promise(part.booked.state == state, words)
            return
        raise BrokenPromise(words)

    def _bench(self, part: Part) -> Page:
        return self.staff.get(reverse("staff:bench", args=[part.booked.pk]))

    @staticmethod
    def _press(part: Part, verb: str) -> str:
        return reverse("staff:press", args=[part.booked.pk, verb])

    def _mailed(self, part: Part, kind: Notice.Kind, now: datetime) -> Letter:
        """The one message of a kind that reached a rider of the story, taken from the mailbox."""
        self.rounds.deliver(now)
        sent = Notice.objects.filter(kind=kind, recipient=part.facts["email"], state=Notice.State.SENT)
        promise(sent.count() == 1, f"{kind.label}: {sent.count()} notices to {part.facts['name']} instead of one")
        found = [letter for letter in letters(settings.MAILBOX_DIR) if letter.message_id == sent.get().message_id]
        promise(len(found) == 1, f"{kind.label}: {len(found)} copies in the mailbox instead of one")
        part.mail[kind] = found[0]
        return found[0]

    def _come_to(self, now: datetime) -> None:
        self.history.advance(now)
        self.staff.now = now

    def _at(self, day: date, at: time) -> datetime:
        return datetime.combine(day, at, self.history.zone).astimezone(self.history.present.tzinfo)


def _typed(value: Any) -> str | list[str]:
    return [str(item) for item in value] if isinstance(value, list) else str(value)
