"""The rider books: a tier, the bike, a day, who asks. Four short pages, no account, no script needed."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from bookings import links, selectors
from bookings.forms.public import BikeForm, RiderForm, StartForm, stamp
from bookings.models import BookingRequest, Tier, Visit
from bookings.rules.durations import Features
from bookings.services import bookings, diary, requests
from bookings.services.contention import transacted
from bookings.views import drafts, free_days
from bookings.views.drafts import Draft

ACTOR = "rider, online"
STEPS = ("bike", "day", "you")

View = Callable[..., HttpResponse]


def _needs_shop(view: View) -> View:
    """A shop without its own row has nothing to offer yet: say so plainly."""

    @wraps(view)
    def answer(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if selectors.shop() is None:
            return render(request, "bookings/public/not_open_yet.html")
        response = view(request, *args, **kwargs)
        # Not `no-store`: browsers then forget half-typed forms on the way back.
        response.headers["Cache-Control"] = "private, no-cache"
        return response

    return answer


def _booking_page(view: Callable[[HttpRequest, Tier, Draft], HttpResponse]) -> View:
    """Find tier and draft for a page of the booking, whatever was lost or altered on the way."""

    @require_http_methods(["GET", "HEAD", "POST"])
    @_needs_shop
    @wraps(view)
    def answer(request: HttpRequest, tier_code: str) -> HttpResponse:
        tier = get_object_or_404(selectors.tiers(), code=tier_code)
        key = drafts.key_of(request)
        if key is None:
            return redirect(_address("bike", tier, drafts.new_key()))
        token = drafts.visit_token_of(request, key)
        if token and request.method != "POST":
            return render(request, "bookings/public/booked_already.html", {"token": token, "tier": tier})
        try:
            draft = drafts.current(request, key) or Draft(key)
        except drafts.BadDraft:
            return render(request, "bookings/public/damaged.html", {"tier": tier, "key": key}, status=400)
        return view(request, tier, draft)

    return answer


def _address(step: str, tier: Tier, key: str) -> str:
    return reverse(f"public:{step}", args=[tier.code]) + "?" + urlencode({drafts.FIELD: key})


def _page(request: HttpRequest, step: str, draft: Draft, status: int = 200, **context: Any) -> HttpResponse:
    tier: Tier = context["tier"]
    back = STEPS[STEPS.index(step) - 1] if step != STEPS[0] else ""
    context |= {"step": step, "draft": draft, "back": _address(back, tier, draft.key) if back else ""}
    return render(request, f"bookings/public/{step}.html", context, status=status)


@require_safe
@_needs_shop
def home(request: HttpRequest) -> HttpResponse:
    """The shop's tiers, each with what it takes and costs."""
    model = selectors.length_model()
    tiers = [(tier, model.estimate(Features(tier.code)).median_minutes) for tier in selectors.tiers()]
    key = drafts.key_of(request)
    response = render(request, "bookings/public/home.html", {"tiers": tiers, "key": key})
    response.headers["X-Robots-Tag"] = "all"  # the one page that wants to be found
    return response


@_booking_page
def bike(request: HttpRequest, tier: Tier, draft: Draft) -> HttpResponse:
    """The bike and how it lives."""
    form = BikeForm(request.POST if request.method == "POST" else None, initial=draft.bike)
    if form.is_valid():
        draft.bike = form.cleaned_data
        drafts.keep(request, draft)
        return redirect(_address("day", tier, draft.key))
    return _page(request, "bike", draft, 422 if form.is_bound else 200, tier=tier, form=form)


@_booking_page
def day(request: HttpRequest, tier: Tier, draft: Draft) -> HttpResponse:
    """A start among those really free for the honest length."""
    if not draft.bike:
        return _missing(request, tier, draft)
    return _day_page(request, tier, draft, request.POST if request.method == "POST" else None)


def _day_page(request: HttpRequest, tier: Tier, draft: Draft, data: Any, taken: str = "") -> HttpResponse:
    offered = free_days.for_job(
        tier=tier,
        kind=draft.kind,
        condition=draft.condition,
        now=request.now,  # type: ignore[attr-defined]
        from_day=free_days.asked_day(request.GET.get("from", "")),
    )
    form = StartForm(data, free=offered.free, shown=offered.shown, initial={"start": draft.start})
    if form.is_valid():
        draft.start = stamp(form.cleaned_data["start"])
        drafts.keep(request, draft)
        return redirect(_address("you", tier, draft.key))
    status = 409 if taken else 422 if form.is_bound else 200
    return _page(request, "day", draft, status, tier=tier, form=form, offered=offered, taken=taken)


@_booking_page
def you(request: HttpRequest, tier: Tier, draft: Draft) -> HttpResponse:
    """Who asks; sending this page pencils the visit."""
    if not draft.bike or not draft.start:
        return _missing(request, tier, draft, typed=request.POST.dict())
    if request.method == "POST" and "back" in request.POST:
        draft.rider = _as_typed(request)
        drafts.keep(request, draft)
        return redirect(_address("day", tier, draft.key))
    shop = selectors.require_shop()
    data = request.POST if request.method == "POST" else None
    form = RiderForm(data, initial=draft.rider, region=shop.phone_region)
    if form.is_valid():
        draft.rider = form.cleaned_data
        return _book(request, tier, draft, form.phone_e164)
    length = selectors.length_for(tier, draft.kind, draft.condition, selectors.icy(draft.starts_at))
    return _page(
        request,
        "you",
        draft,
        422 if form.is_bound else 200,
        tier=tier,
        form=form,
        length=length,
        ready_from=selectors.ready_from(tier, draft.starts_at, length.promised_minutes),
    )


def _as_typed(request: HttpRequest) -> dict[str, Any]:
    typed = {name: request.POST.get(name, "") for name in ("name", "email", "phone", "remarks")}
    return typed | {"recall_agreed": "recall_agreed" in request.POST}


def _book(request: HttpRequest, tier: Tier, draft: Draft, phone_e164: str) -> HttpResponse:
    """Request and visit in one transaction: a time that is gone leaves no half-made booking behind."""
    made = _visit_made(draft)
    if made is not None:
        messages.info(request, _("We have this booking already. Sending it again has changed nothing."))
    else:
        try:
            made = transacted(_pencil)(request, tier, draft, phone_e164)
        except diary.DiaryRefusal as refusal:
            made = _visit_made(draft)  # a double click: its twin was a moment faster, and took the time for us
            if made is None:
                draft.start = ""
                drafts.keep(request, draft)
                return _day_page(request, tier, draft, None, taken=str(refusal))
    if not _is_of(made, draft, phone_e164):
        return render(request, "bookings/public/booked_already.html", {"tier": tier}, status=409)
    token = links.visit_token(made)
    drafts.became_visit(request, draft, token)
    return redirect("public:visit", token=token)


def _pencil(request: HttpRequest, tier: Tier, draft: Draft, phone_e164: str) -> Visit:
    now = request.now  # type: ignore[attr-defined]
    if not free_days.soon_enough(draft.starts_at, now):
        raise diary.SlotTaken(_("That time is now too near to be booked online."))
    received = requests.receive(
        submission_key=draft.submission_key,
        source=BookingRequest.Source.ONLINE,
        tier=tier,
        rider=requests.RiderFacts(draft.rider["name"], draft.rider["email"], phone_e164),
        bike=draft.bike_facts,
        condition=draft.condition,
        remarks=draft.rider["remarks"],
        recall_agreed=draft.rider["recall_agreed"],
        now=now,
    )
    return bookings.pencil(request=received, start=draft.starts_at, now=now, actor=ACTOR)


def _visit_made(draft: Draft) -> Visit | None:
    return Visit.objects.filter(request__submission_key=draft.submission_key).first()


def _is_of(visit: Visit, draft: Draft, phone_e164: str) -> bool:
    """Whether the same rider sent this: a key alone, read off a screen or a log, must open nobody's visit."""
    rider = visit.bike.rider
    return (rider.email.casefold(), rider.phone_e164) == (draft.rider["email"].casefold(), phone_e164)


def _missing(request: HttpRequest, tier: Tier, draft: Draft, typed: dict[str, Any] | None = None) -> HttpResponse:
    """A page was opened before the one that leads to it, or after the browser forgot it."""
    if typed:
        draft.rider = _as_typed(request)
        drafts.keep(request, draft)
    if not draft.bike:
        messages.warning(request, _("We need to know the bike first, to say how long the work takes."))
    return redirect(_address("bike" if not draft.bike else "day", tier, draft.key))
