"""Protection left on each coat over time: as numbers, in words, and as a picture that says the same."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from io import BytesIO
from typing import Any

from django.utils.translation import gettext as _
from matplotlib import rcParams
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.dates import ConciseDateFormatter, MonthLocator, date2num
from matplotlib.figure import Figure

from bookings.models import Bike
from reminders import selectors
from reminders.models import CoatDue, Schedule
from reminders.protection.due import salt_seasons
from reminders.protection.types import CoatForecast, Curve, SaltSeason

STEP_DAYS = 7
AHEAD = timedelta(days=550)
BEHIND = timedelta(days=370)
WIDTH_INCHES, ROW_INCHES = 4.5, 1.1
MAIL_WIDTH_PIXELS = 450
INK, BAND, SALT = "#10293a", "#9dbccb", "#e9dccb"
# Text stays text, so that it scales and can be searched; ids are fixed, so that equal charts are equal bytes. Set
# once for the process: a context per drawing would race between the threads of a web server.
rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "rimebook", "font.size": 10})


@dataclass(frozen=True)
class CoatLine:
    """One coat's estimate and its way through time; `left` is the share of protection left today, 0–1."""

    row: CoatDue
    curve: Curve
    left: float
    seasons: tuple[SaltSeason, ...] = ()

    @property
    def percent(self) -> int:
        """What is left, to the nearest ten percent; more figures would be false precision."""
        return round(self.left * 10) * 10

    @property
    def half_gone(self) -> date | None:
        """The first sampled day on which the likely course has come down to half, None where it never does."""
        samples = zip(self.curve.dates, self.curve.likely, strict=True)
        return next((day for day, share in samples if share <= 0.5), None)


def coat_lines(bike: Bike, day: date) -> list[CoatLine]:
    """Every coat still on the bike, the first to be due first, derived again from the stored inputs."""
    known: dict[int, tuple[dict[int, CoatForecast], tuple[SaltSeason, ...]]] = {}
    lines = []
    for row in selectors.coats_due(bike):
        if row.schedule_id not in known:
            known[row.schedule_id] = _derived(row.schedule, day)
        estimates, seasons = known[row.schedule_id]
        estimate = estimates.get(row.coat_id)
        if estimate is not None:
            curve = estimate.protection_curve(STEP_DAYS)
            lines.append(CoatLine(row, curve, _at(curve, day), seasons))
    return lines


def _derived(schedule: Schedule, day: date) -> tuple[dict[int, CoatForecast], tuple[SaltSeason, ...]]:
    asked, answer, parameters = selectors.derived(schedule)
    coats = selectors.coats_of(schedule.visit).values_list("pk", flat=True)
    return dict(zip(coats, answer.coats, strict=True)), salt_seasons(asked.site, day, parameters)


def _at(curve: Curve, day: date) -> float:
    """The likely share on a day, from the sample before it; 0 past the end, 1 before the coat went on."""
    index = bisect_right(curve.dates, day) - 1
    return 1.0 if index < 0 else curve.likely[index]


def protection_svg(lines: Sequence[CoatLine], day: date) -> bytes:
    """The picture for a page: text stays text, so that it scales and can be searched. At least one line."""
    figure = _figure(lines, day)
    FigureCanvasSVG(figure)
    return _written(figure, "svg", {"Date": None, "Title": _("Protection left, by coat")})


def protection_png(lines: Sequence[CoatLine], day: date) -> bytes:
    """The picture for mail, where SVG is not shown; twice as fine as it is wide on the screen. At least one line."""
    figure = _figure(lines, day)
    FigureCanvasAgg(figure)
    return _written(figure, "png", {"Software": None}, dpi=2 * MAIL_WIDTH_PIXELS / WIDTH_INCHES)


def _written(figure: Figure, form: str, metadata: dict[str, str | None], **options: Any) -> bytes:
    out = BytesIO()
    figure.savefig(out, format=form, metadata=metadata, **options)
    return out.getvalue()


def _figure(lines: Sequence[CoatLine], day: date) -> Figure:
    """One row per coat: the likely course, the band around it, today, and the salt seasons behind."""
    first, last = day - BEHIND, day + AHEAD
    figure = Figure(figsize=(WIDTH_INCHES, ROW_INCHES * len(lines) + 0.7), layout="constrained")
    rows = figure.subplots(len(lines), 1, sharex=True, squeeze=False)[:, 0]
    for axes, line in zip(rows, lines, strict=True):
        _draw(axes, line, day)
        axes.set_xlim(date2num(first), date2num(last))
    locator = MonthLocator(bymonth=(1, 4, 7, 10))
    rows[-1].xaxis.set_major_locator(locator)
    rows[-1].xaxis.set_major_formatter(ConciseDateFormatter(locator))
    return figure


def _draw(axes: Any, line: CoatLine, day: date) -> None:
    for season in line.seasons:
        axes.axvspan(date2num(season.from_), date2num(season.to), color=SALT, linewidth=0)
    days = [date2num(moment) for moment in line.curve.dates]
    axes.fill_between(days, line.curve.early, line.curve.late, color=BAND, linewidth=0)
    axes.plot(days, line.curve.likely, color=INK, linewidth=1.8)
    axes.axvline(date2num(day), color=INK, linewidth=1, linestyle=(0, (2, 2)))
    axes.set_ylim(0, 1.05)
    axes.set_yticks([0, 0.5, 1], labels=["0", "50 %", "100 %"])
    coat = line.row.coat
    title = f"{coat.get_zone_display()}: {coat.get_kind_display()}"
    axes.set_title(title, loc="left", fontsize=10, pad=3)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
