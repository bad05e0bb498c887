"""The wording of each kind of notice: ours from files, or the shop's own, with every version kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path

from reminders import selectors
from reminders.models import NoticeText
from reminders.services import wording
from reminders.services.names import NEEDED, names_for

FILES = Path(__file__).resolve().parent.parent / "templates" / "reminders" / "messages"


@dataclass(frozen=True)
class Wording:
    """Subject and body of a kind, both templates."""

    subject: str
    body: str


@cache
def ours(kind: str) -> Wording:
    """The wording that comes with Rimebook."""
    folder = FILES / kind
    return Wording((folder / "subject.txt").read_text("utf-8").strip(), (folder / "body.txt").read_text("utf-8"))


def in_force(kind: str) -> Wording:
    """The wording notices of this kind are written with now."""
    own = selectors.own_text(kind)
    if own is None or own.is_ours:
        return ours(kind)
    wanted = Wording(own.subject, own.body)
    # A name that a later version of Rimebook has given up must not end in a rider's mail as it stands.
    return ours(kind) if any(faults_in(kind, wanted).values()) else wanted


def faults_in(kind: str, wanted: Wording) -> dict[str, list[str]]:
    """What is wrong with a wording, by field, in sentences."""
    known = names_for(kind)
    return {
        "subject": wording.faults(wanted.subject, known),
        "body": wording.faults(wanted.body, known, NEEDED[kind]),
    }


def save(*, kind: str, wanted: Wording, by: str, now: datetime) -> bool:
    """Let notices of this kind be written so from now on; False when they are already.

    What was written ahead otherwise is written anew at hand-over. Raises ValueError for a wording with faults.
    """
    if any(faults_in(kind, wanted).values()):
        raise ValueError("a wording with faults is shown again and never kept")
    if wanted == in_force(kind):
        return False
    _keep(kind, wanted if wanted != ours(kind) else Wording("", ""), by, now)
    return True


def set_back(*, kind: str, by: str, now: datetime) -> bool:
    """Write notices of this kind in our words again; False when they are already."""
    if in_force(kind) == ours(kind):
        return False
    _keep(kind, Wording("", ""), by, now)
    return True


def _keep(kind: str, wanted: Wording, by: str, now: datetime) -> None:
    NoticeText.objects.create(kind=kind, subject=wanted.subject, body=wanted.body, saved_at=now, saved_by=by[:150])
