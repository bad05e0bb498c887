"""What happened, in readable tables: who was booked, what is due when and why, which messages arrived."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from statistics import median

from django.conf import settings
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from bookings.models import Bike, Visit
from config.demo.story import Part, Story, promise
from config.mailbox import letters
from reminders.models import CoatDue, Notice
from reminders.text import CAUSES, month_range

# The reference study has the same heavy film last 12.9 months on a dry-stored summer bike and 3.1 on an outdoor
# winter commuter; how far apart they are depends on the climate, that they are far apart does not.
LEAST_RATIO = 2.0


def report(story: Story, out: Console) -> None:
    """Check the promises that concern everything at once, then print. Raises BrokenPromise."""
    _due_differs(story)
    _nothing_doubled(story)
    _nothing_lost(story)
    out.print()
    out.print(_booked(story))
    for words, part in _parts(story):
        out.print(_due(story, words, part))
    for _, part in _parts(story):
        out.print(_arrived(story, part))
    out.print(_shop(story))
    for words in story.checks:
        out.print(f"[green]✓[/green] {words}", highlight=False)
    out.print("Due months are estimates. The maker's manual and a qualified mechanic come first.", style="dim")


def _parts(story: Story) -> list[tuple[str, Part]]:
    return [("outdoor winter commuter", story.commuter), ("dry-stored summer bike", story.summer)]


def _when(story: Story, moment: datetime | None) -> str:
    return f"{moment.astimezone(story.history.zone):%a %d %b %Y, %H:%M}" if moment else ""


def _life(row: CoatDue) -> int | None:
    """Days from application to the likely due day."""
    return (row.due_likely - row.coat.applied_at.date()).days if row.due_likely else None


def _due_differs(story: Story) -> None:
    """Each coat is due sooner on the commuter, and by about as much as the reference study says."""
    lives = {
        kind: {(row.coat.zone, row.coat.kind): _life(row) for row in story.coats(part)} for kind, part in _parts(story)
    }
    winter, summer = lives.values()
    promise(bool(winter) and winter.keys() == summer.keys(), "both bikes carry the same coats")
    ratios = {}
    for coat, days in winter.items():
        promise(days is not None, f"{coat} on the commuter is due within the horizon")
        longer = summer[coat]
        promise(longer is None or longer > (days or 0), f"{coat} lasts longer on the summer bike")
        if longer and days:
            ratios[coat] = longer / days
    films = [ratio for (_, kind), ratio in ratios.items() if kind == "heavy_film"]
    promise(bool(films) and min(films) >= LEAST_RATIO, "heavy film lasts at least twice as long on the summer bike")
    story.checks.append(
        f"the same coats last {min(ratios.values()):.1f} to {max(ratios.values()):.1f} times as long on the dry-stored "
        f"summer bike (middle {median(ratios.values()):.1f})"
    )


def _nothing_doubled(story: Story) -> None:
    found = letters(settings.MAILBOX_DIR)
    distinct = {letter.message_id for letter in found}
    promise(len(distinct) == len(found), f"{len(found) - len(distinct)} messages arrived more than once")
    story.checks.append(f"nothing sent twice: {len(found)} messages, {len(distinct)} Message-IDs")


def _nothing_lost(story: Story) -> None:
    arrived = {letter.message_id for letter in letters(settings.MAILBOX_DIR)}
    sent = set(Notice.objects.filter(state=Notice.State.SENT).values_list("message_id", flat=True))
    promise(sent == arrived, f"{len(sent ^ arrived)} notices are not in the mailbox as the outbox has it")
    troubled = Notice.objects.filter(state__in=[Notice.State.FAILED, Notice.State.IN_DOUBT, Notice.State.SENDING])
    promise(not troubled.exists(), f"{troubled.count()} notices are failed or in doubt")
    dropped = Notice.objects.filter(state=Notice.State.DROPPED)
    told = f"{dropped.count()} no longer needed when their time came" if dropped else "none dropped"
    story.checks.append(f"nothing lost: every notice handed over is in the mailbox; {told}")


def _table(title: str, *headings: str) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=SIMPLE_HEAD, pad_edge=False)
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table


def _booked(story: Story) -> Table:
    headings = ("Rider and bike", "Tier", "Booked", "Work from", "Promised / usual", "Collected", "State")
    table = _table("Who was booked", *headings)
    bikes = [part.booked.bike_id for _, part in _parts(story)]
    visits = Visit.objects.filter(bike__in=bikes).select_related("bike__rider", "tier", "request", "job")
    for visit in visits.order_by("starts_at"):
        job = getattr(visit, "job", None)
        table.add_row(
            f"{visit.bike.rider.name}, {visit.bike.registration}",
            visit.tier.name,
            visit.request.get_source_display(),
            _when(story, visit.starts_at),
            f"{visit.booked_minutes} / {visit.usual_minutes} min",
            _when(story, job.collected_at if job else None),
            visit.get_state_display(),
        )
    return table


def _due(story: Story, words: str, part: Part) -> Table:
    treated = _when(story, part.booked.starts_at)[:15]
    title = f"What is due when, and why: {part.booked.bike}, {words}, treated {treated}"
    table = _table(title, "Coat", "Likely", "Early to late", "Act by", "Share of the wear")
    for row in story.coats(part).order_by("due_likely", "coat__zone"):
        table.add_row(
            str(row.coat),
            f"{row.due_likely:%d %b %Y}" if row.due_likely else "past the horizon",
            month_range(row.due_early, row.due_late),
            f"{row.act_by:%d %b %Y}" if row.act_by else "",
            _shares(row.wear_share),
        )
    return table


def _shares(shares: dict[str, float]) -> str:
    largest = sorted(shares.items(), key=lambda item: -item[1])
    return ", ".join(f"{CAUSES[cause]} {share:.0%}" for cause, share in largest if share >= 0.05)


def _arrived(story: Story, part: Part) -> Table:
    title = f"Which messages arrived: {part.facts['name']} <{part.facts['email']}>"
    table = _table(title, "Dated", "Subject", "Calendar", "What it is")
    for letter in reversed(letters(settings.MAILBOX_DIR)):
        if letter.recipient == part.facts["email"]:
            table.add_row(_when(story, letter.sent_at), letter.subject, letter.calendar_method, letter.kind)
    return table


def _shop(story: Story) -> str:
    states = Counter(visit.get_state_display() for visit in Visit.objects.all())
    told = ", ".join(f"{number} {state}" for state, number in states.most_common())
    return f"Around them: {Bike.objects.count()} bikes, {Visit.objects.count()} visits ({told}).\n"
