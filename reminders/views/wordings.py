"""The workbench pages on which the shop words its notices: list, edit, look at it first, set back, who changed what."""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from bookings.views.staff_door import actor, moment_of, staff_page
from reminders import selectors
from reminders.forms.messages import WordingForm
from reminders.models import Notice, NoticeText
from reminders.services import previewing, texts
from reminders.services.composing import Composed
from reminders.services.names import NEEDED, names_for

PAGE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; frame-ancestors 'none'"


@dataclass(frozen=True)
class Line:
    """A kind in the list, with the version in force when it is the shop's own."""

    kind: str
    label: str
    subject: str
    own: NoticeText | None


@require_safe
@staff_page
def listing(request: HttpRequest) -> HttpResponse:
    """Every kind of notice and how its mail begins."""
    lines = [
        Line(value, str(label), texts.in_force(value).subject, selectors.own_text(value))
        for value, label in Notice.Kind.choices
    ]
    return render(request, "reminders/staff/texts.html", {"lines": lines})


@require_http_methods(["GET", "HEAD", "POST"])
@staff_page
def edit(request: HttpRequest, kind: str) -> HttpResponse:
    """Word one kind; “look at it first” shows the mail and keeps nothing."""
    _known(kind)
    if request.method != "POST":
        now_used = texts.in_force(kind)
        form = WordingForm(kind=kind, initial={"subject": now_used.subject, "body": now_used.body})
        return render(request, "reminders/staff/text.html", _context(kind, form))
    form = WordingForm(request.POST, kind=kind)
    if not form.is_valid():
        return render(request, "reminders/staff/text.html", _context(kind, form), status=422)
    now = moment_of(request)
    if request.POST.get("what") in ("look", "page"):
        preview = previewing.preview(kind, form.wording, now=now)
        if request.POST["what"] == "page":
            return _page(preview.composed)
        return render(request, "reminders/staff/text.html", _context(kind, form) | {"preview": preview})
    if texts.save(kind=kind, wanted=form.wording, by=actor(request), now=now):
        messages.success(request, _("Kept. Notices that have not been handed over yet are written like this."))
    else:
        messages.info(request, _("It was worded like this already."))
    return redirect("notices:text", kind=kind)


@staff_page
@require_POST
def set_back(request: HttpRequest, kind: str) -> HttpResponse:
    """Our own wording again; the shop's stays in the history."""
    _known(kind)
    if texts.set_back(kind=kind, by=actor(request), now=moment_of(request)):
        messages.success(request, _("Set back to the wording that comes with Rimebook."))
    return redirect("notices:text", kind=kind)


def _page(composed: Composed) -> HttpResponse:
    """The mail's HTML alone, shut in a sandbox; its chart travels inside it, for the sandbox fetches nothing."""
    picture = base64.b64encode(composed.picture_png).decode()
    page = re.sub(r"cid:picture\.[^\"]+", f"data:image/png;base64,{picture}", composed.html)
    response = HttpResponse(page)
    response["Content-Security-Policy"] = PAGE_POLICY
    return response


def _known(kind: str) -> None:
    if kind not in Notice.Kind.values:
        raise Http404(_("There is no such kind of notice."))


def _context(kind: str, form: WordingForm) -> dict[str, Any]:
    return {
        "kind": kind,
        "label": Notice.Kind(kind).label,
        "form": form,
        "names": [(name, known.meaning, name in NEEDED[kind]) for name, known in names_for(kind).items()],
        "versions": selectors.text_versions(kind)[:20],
        "is_ours": texts.in_force(kind) == texts.ours(kind),
    }
