"""The bench: what is done to the bike, ticked and recorded one press at a time; and the checks before it may leave."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from bookings.forms.plain import PlainForm
from bookings.forms.staff import BenchForm, CoatForm, CoatRowForm, FastenersForm, SignOffForm, StepForm
from bookings.models import Job, Visit
from bookings.rules import safety
from bookings.rules.types import Method, SafetyItem, VisitState, Zone
from bookings.services import jobs
from bookings.text import SAFETY_ITEM, ZONE
from bookings.views.staff_door import REFUSALS, actor, found_visit, in_words, moment_of, staff_page
from bookings.views.staff_next import next_thing, open_checks

Facts = dict[str, Any]
_CHECKS_OPEN_IN = {VisitState.IN_WORK, VisitState.CURING}


@require_safe
@staff_page
def bench(request: HttpRequest, pk: int) -> HttpResponse:
    """The bench page of a bike in the house."""
    visit = found_visit(pk)
    job = _job(visit)
    if job is None:
        messages.info(request, _("There is no bench record yet: the bike has not been dropped off."))
        return redirect("staff:visit", pk=pk)
    return _page(request, visit, job)


def _job(visit: Visit) -> Job | None:
    return Job.objects.filter(visit=visit).prefetch_related("coats__product", "sign_offs", "steps_done").first()


def _page(
    request: HttpRequest,
    visit: Visit,
    job: Job,
    *,
    status: int = 200,
    coat_form: CoatForm | None = None,
    refusals: list[str] | None = None,
) -> HttpResponse:
    ticks = {tick.step_id: tick for tick in job.steps_done.all()}
    signed = {sign_off.item: sign_off for sign_off in job.sign_offs.all()}
    wanted = safety.required_items(job.fasteners_removed)
    state = VisitState(visit.state)
    context = {
        "visit": visit,
        "job": job,
        "refusals": refusals or [],
        "is_in_work": state is VisitState.IN_WORK,
        "checks_are_open": state in _CHECKS_OPEN_IN,
        "steps": [(step, ticks.get(step.pk)) for step in visit.tier.steps.all()],
        "ticked": len(ticks),
        "checks": [(item.value, words, signed.get(item)) for item, words in _worded(wanted)],
        "open_checks": len(open_checks(job)),
        "coat_form": coat_form or CoatForm(),
        "form": coat_form,
        "still_curing": bool(job.cured_at and moment_of(request) < job.cured_at),
        "next": next_thing(visit, moment_of(request)),
        "never_coated": [words for zone, words in ZONE if zone in safety.NEVER_COATED],
    }
    return render(request, "bookings/staff/bench.html", context, status=status)


def _worded(items: tuple[SafetyItem, ...]) -> list[tuple[SafetyItem, Any]]:
    labels = dict(SAFETY_ITEM)
    return [(item, labels[item]) for item in items]


def _tick(job: Job, facts: Facts, now: datetime, who: str) -> None:
    jobs.tick_step(job=job, step=facts["step"], now=now, actor=who)


def _untick(job: Job, facts: Facts, now: datetime, who: str) -> None:
    jobs.untick_step(job=job, step=facts["step"])


@transaction.atomic
def _coat(job: Job, facts: Facts, now: datetime, who: str) -> None:
    for zone in facts["zone"]:
        jobs.record_coat(
            job=job,
            zone=Zone(zone),
            product=facts["product"],
            method=Method(facts["method"]),
            batch=facts["batch"],
            now=now,
            actor=who,
        )


def _take_back(job: Job, facts: Facts, now: datetime, who: str) -> None:
    jobs.remove_coat(job=job, coat=facts["coat"])


def _fasteners(job: Job, facts: Facts, now: datetime, who: str) -> None:
    jobs.note_fasteners(job=job, removed=facts["removed"], now=now, actor=who)


def _sign(job: Job, facts: Facts, now: datetime, who: str) -> None:
    jobs.sign_off(job=job, item=SafetyItem(facts["item"]), note=facts["note"], now=now, actor=who)


Press = Callable[[Job, Facts, datetime, str], None]
# What is pressed: its form, what it does, and the part of the page to come back to.
PRESSES: dict[str, tuple[type[PlainForm], Press, str]] = {
    "tick": (StepForm, _tick, "steps"),
    "untick": (StepForm, _untick, "steps"),
    "coat": (CoatForm, _coat, "coats"),
    "take-back": (CoatRowForm, _take_back, "coats"),
    "fasteners": (FastenersForm, _fasteners, "fasteners"),
    "sign": (SignOffForm, _sign, "checks"),
}


@require_POST
@staff_page
def press(request: HttpRequest, pk: int, verb: str) -> HttpResponse:
    """One press at the bench. A refusal shows the bench with the reason, and what was typed."""
    visit = found_visit(pk)
    job = _job(visit)
    if verb not in PRESSES or job is None:
        raise Http404
    kind, do, part = PRESSES[verb]
    form = kind(request.POST, visit=visit) if issubclass(kind, BenchForm) else kind(request.POST)
    coat_form = form if isinstance(form, CoatForm) else None
    if not form.is_valid():
        said = [] if coat_form else [str(error) for errors in form.errors.values() for error in errors]
        return _page(request, visit, job, status=422, coat_form=coat_form, refusals=said)
    try:
        do(job, form.cleaned_data, moment_of(request), actor(request))
    except REFUSALS as refusal:
        return _page(request, visit, job, status=409, coat_form=coat_form, refusals=in_words(refusal))
    return redirect(reverse("staff:bench", args=[pk]) + f"#{part}")
