"""What an ordeal shows: counted from what the mail server took and what the database says, and judged."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import Any

from config.study.sink import DEAD_DOMAIN
from reminders.mailer import Outcome
from reminders.models import Attempt, Notice, Tick

State = Notice.State
KILLED = "the worker did not come back"


@dataclass
class Findings:
    """Figures in order of telling, and what broke a promise, in words; an empty list is a pass."""

    seed: int
    seconds: float
    figures: dict[str, int | float] = field(default_factory=dict)
    broken: list[str] = field(default_factory=list)


def judge(seed: int, sink: dict[str, Any], done: dict[str, int], seconds: float) -> Findings:
    """Compare what arrived with what was owed."""
    copies: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for message_id, digest, _recipient, said in sink["taken"]:
        copies[message_id].append((digest, said))
    findings = Findings(seed, round(seconds, 1))
    findings.figures |= done | {f"mail server: {name}": count for name, count in sorted(sink["struck"].items())}
    notices = list(Notice.objects.filter(rider__isnull=False))  # not the shop's own morning mail
    recalls = [notice for notice in notices if notice.is_recall]
    dead = [notice for notice in notices if notice.recipient.endswith(DEAD_DOMAIN)]
    service = [notice for notice in notices if notice not in set(recalls) | set(dead)]
    _judge_service(findings, service, copies)
    _judge_recalls(findings, recalls, copies)
    _judge_dead(findings, dead)
    unknown = copies.keys() - set(Notice.objects.values_list("message_id", flat=True))
    if unknown:
        findings.broken.append(f"{len(unknown)} messages arrived that nobody owed")
    tries = Counter(Attempt.objects.values_list("outcome", flat=True))
    findings.figures |= {f"tries: {outcome}": count for outcome, count in sorted(tries.items())}
    findings.figures |= {f"turns of {tick.name}": tick.turns for tick in Tick.objects.order_by("name")}
    return findings


def _judge_service(findings: Findings, notices: list[Notice], copies: dict[str, list[tuple[str, str]]]) -> None:
    doubts = Counter(_doubts().values_list("notice_id", flat=True))
    killed = set(_doubts().filter(words__contains=KILLED).values_list("notice_id", flat=True))
    counts: Counter[str] = Counter()
    for notice in notices:
        came = copies.get(notice.message_id, [])
        counts["arrived"] += bool(came)
        counts["parked for staff though arrived"] += notice.state == State.IN_DOUBT
        if not came and notice.state == State.IN_DOUBT and doubts[notice.pk] > 1:
            # A third try might be a third copy, so a person decides.
            counts["not arrived, waits for staff after two doubts"] += 1
        elif not came:
            findings.broken.append(f"notice {notice.pk} never arrived: {notice.state}, {notice.outcome}")
        if notice.state not in (State.SENT, State.IN_DOUBT):
            findings.broken.append(f"notice {notice.pk} ended as {notice.state}: {notice.outcome}")
        if len(came) < 2:
            continue
        unsaid = came[0][1] != "taken"
        counts["twice: server took it and never said so"] += unsaid
        counts["twice: worker killed between acceptance and record"] += not unsaid and notice.pk in killed
        if len(came) > 2:
            findings.broken.append(f"notice {notice.pk} arrived {len(came)} times")
        if len({digest for digest, _ in came}) > 1:
            findings.broken.append(f"the copies of notice {notice.pk} differ")
        if not unsaid and notice.pk not in killed:
            why = "another doubt" if doubts[notice.pk] else "no doubt on record"
            findings.broken.append(f"notice {notice.pk} arrived twice without a kill: {why}")
    findings.figures |= {"service notices": len(notices)} | {f"service {name}": n for name, n in counts.items()}


def _judge_recalls(findings: Findings, notices: list[Notice], copies: dict[str, list[tuple[str, str]]]) -> None:
    counts: Counter[str] = Counter()
    for notice in notices:
        came = len(copies.get(notice.message_id, []))
        counts["arrived"] += bool(came)
        counts["waiting for staff, arrived"] += notice.state == State.IN_DOUBT and came == 1
        counts["waiting for staff, not arrived"] += notice.state == State.IN_DOUBT and came == 0
        if came > 1:
            findings.broken.append(f"recall {notice.pk} arrived {came} times")
        if not came and notice.state != State.IN_DOUBT:
            findings.broken.append(f"recall {notice.pk} neither arrived nor waits for staff: {notice.state}")
        if notice.state not in (State.SENT, State.IN_DOUBT):
            findings.broken.append(f"recall {notice.pk} ended as {notice.state}: {notice.outcome}")
    findings.figures |= {"recall notices": len(notices)} | {f"recall {name}": n for name, n in counts.items()}


def _judge_dead(findings: Findings, notices: list[Notice]) -> None:
    failed = sum(notice.state == State.FAILED for notice in notices)
    findings.figures |= {"dead addresses": len(notices), "dead addresses told": failed}
    if failed < len(notices):
        findings.broken.append(f"only {failed} of {len(notices)} dead addresses were recognised")


def _doubts() -> Any:
    return Attempt.objects.filter(outcome=Outcome.IN_DOUBT)
