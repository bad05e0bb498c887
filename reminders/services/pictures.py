"""The picture in a letter and the words that say the same, for readers and programs that show no pictures."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _

from bookings.models import Bike
from reminders import charts, selectors
from reminders.charts import CoatLine
from reminders.models import Notice
from reminders.text import course, salted_months

log = logging.getLogger(__name__)
PICTURED = (Notice.Kind.CARE_SHEET, Notice.Kind.RECALL, Notice.Kind.DUE_SOON)


@dataclass(frozen=True)
class Picture:
    """A chart of protection left and, line by line, what it shows."""

    png: bytes
    words: tuple[str, ...]
    width_pixels: int = charts.MAIL_WIDTH_PIXELS


def picture_for(notice: Notice, *, now: datetime) -> Picture | None:
    """Coats of the visit for a care sheet, all coats on the bike for a recall, None for other kinds.

    A picture that cannot be drawn must not hold up its letter, which says in words what it shows.
    """
    bike = notice.visit.bike if notice.visit else notice.bike
    if bike is None or notice.kind not in PICTURED:
        return None
    try:
        return _drawn(bike, notice, selectors.today(now))
    except Exception:
        log.exception("notice %s goes without its picture", notice.pk)
        return None


def _drawn(bike: Bike, notice: Notice, day: date) -> Picture | None:
    lines = charts.coat_lines(bike, day)
    if notice.kind == Notice.Kind.CARE_SHEET:
        lines = [line for line in lines if line.row.schedule.visit_id == notice.visit_id]
    if not lines:
        return None
    return Picture(charts.protection_png(lines, day), (*(_in_words(line, day) for line in lines), *_salted(lines, day)))


def _in_words(line: CoatLine, day: date) -> str:
    coat, row = line.row.coat, line.row
    name = _("%(zone)s, %(coat)s") % {"zone": coat.get_zone_display(), "coat": coat.get_kind_display()}
    half = line.half_gone if line.half_gone and line.half_gone > day else None
    return f"{name}: {course(line.percent, half, row.due_early, row.due_late, day)}"


def _salted(lines: list[CoatLine], day: date) -> list[str]:
    coming = [season for season in lines[0].seasons if season.to >= day]
    return [salted_months(coming[0].from_, coming[0].to)] if coming else []
