"""Which groups of several reports are one finding: by tracking UID, or proposed by place; never merged silently."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from gateway.model.comparison import Link
from gateway.model.prior import PriorGroup, PriorReport

_BEARS_NUMBERS = frozenset({"present", "undetermined"})


@dataclass(frozen=True, slots=True)
class Sighting:
    """One finding at one visit.

    Parameters
    ----------
    visit : int
        Index of the report.
    link : Link
        How it was joined to the sighting before it; TRACKED for the first.
    """

    visit: int
    group: PriorGroup
    link: Link


@dataclass(slots=True)
class _Thread:
    sightings: list[Sighting] = field(default_factory=list)

    @property
    def last(self) -> PriorGroup:
        return self.sightings[-1].group

    def uids(self) -> set[str]:
        return {s.group.tracking_uid for s in self.sightings if s.group.tracking_uid}


Thread = tuple[Sighting, ...]


def threads_of(reports: Sequence[PriorReport]) -> tuple[tuple[Thread, ...], tuple[str, ...]]:
    """Join the groups of reports, given in order of time, into threads of one finding each.

    Parameters
    ----------
    reports : sequence of PriorReport

    Returns
    -------
    threads : tuple of Thread
        Every group that bears numbers or carries on a thread, each in exactly one.
    notes : tuple of str
        Ambiguous proposals and contradictions, in words.
    """
    threads: list[_Thread] = []
    notes: list[str] = []
    for visit, report in enumerate(reports):
        left = _join_tracked(visit, report, threads, notes)
        _join_proposed(visit, left, threads, notes)
    return tuple(tuple(thread.sightings) for thread in threads), tuple(notes)


def _join_tracked(visit: int, report: PriorReport, threads: list[_Thread], notes: list[str]) -> list[PriorGroup]:
    """Join the groups whose tracking UID is known; return those that are left."""
    left = []
    uids = [group.tracking_uid for group in report.groups if group.tracking_uid]
    for group in report.groups:
        uid = group.tracking_uid
        thread = next((t for t in threads if uid in t.uids()), None) if uid else None
        if thread is None:
            left.append(group)
        elif uids.count(uid) > 1:
            notes.append(
                f"visit {visit + 1}: several groups carry one tracking UID, none is joined by it: {group.words}"
            )
            left.append(group)
        elif group.eye is not thread.last.eye:
            eyes = f"{thread.last.words}; {group.words}"
            notes.append(f"visit {visit + 1}: one tracking UID for different eyes, not joined: {eyes}")
            threads.append(_Thread([Sighting(visit, group, Link.TRACKED)]))
        else:
            thread.sightings.append(Sighting(visit, group, Link.TRACKED))
    return left


def _join_proposed(visit: int, groups: Sequence[PriorGroup], threads: list[_Thread], notes: list[str]) -> None:
    """Propose a thread for each group where exactly one fits, and that one fits no other group."""
    bearing = [group for group in groups if group.measurements and group.presence in _BEARS_NUMBERS]
    free = [thread for thread in threads if thread.sightings[-1].visit < visit]
    fitting = {index: [t for t in free if _fits(t.last, group)] for index, group in enumerate(bearing)}
    for index, group in enumerate(bearing):
        candidates = fitting[index]
        rivals = [other for other in fitting if any(t in fitting[other] for t in candidates)]
        if len(candidates) == 1 and rivals == [index]:
            candidates[0].sightings.append(Sighting(visit, group, Link.PROPOSED))
            continue
        if candidates:
            could_be = "; ".join(f"visit {t.sightings[-1].visit + 1}: {t.last.words}" for t in candidates)
            notes.append(f"ambiguous: visit {visit + 1}: {group.words} could be {could_be}")
        threads.append(_Thread([Sighting(visit, group, Link.TRACKED)]))


def _fits(earlier: PriorGroup, later: PriorGroup) -> bool:
    """Whether two groups may be one finding: the same eye, nothing contradicts, and some place is stated in both."""
    if earlier.eye is None or earlier.eye is not later.eye or bool(earlier.finding) is not bool(later.finding):
        return False
    stated = [
        (one, other)
        for one, other in (
            (earlier.structure, later.structure),
            (earlier.clock_hour, later.clock_hour),
            (earlier.zone, later.zone),
        )
        if one and other
    ]
    return bool(stated) and all(one == other for one, other in stated)
