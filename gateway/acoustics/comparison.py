"""Compares the reports of one patient's visits: like with like, against how far readings of one thing differ.

Pure: values in, values out. A difference is stated as a number with its band and never interpreted.
"""

from __future__ import annotations

from collections.abc import Sequence

from gateway.acoustics.like_quantities import (
    Quantity,
    between,
    contradictions,
    in_unit_of,
    pairs_of,
    quantities_of,
    unlike_remarks,
)
from gateway.acoustics.repeats import repeatability_95
from gateway.acoustics.same_finding import Sighting, Thread, threads_of
from gateway.acoustics.trends import months_between, trend_of
from gateway.errors.measurement import DifferentPatientsError, NothingToCompareError
from gateway.model.comparison import Band, Comparison, Difference, Link, Reading, Series, Verdict, Visit
from gateway.model.measurement import Unit
from gateway.model.prior import PriorGroup, PriorMeasurement, PriorReport
from gateway.model.repeatability import RepeatabilityFigure, Whose

Figures = Sequence[RepeatabilityFigure]


def compare(reports: Sequence[PriorReport], figures: Figures = ()) -> Comparison:
    """Compare the reports of two visits or more.

    Parameters
    ----------
    reports : sequence of PriorReport
        In any order.
    figures : sequence of RepeatabilityFigure
        How far readings of one thing differ; the first usable one that fits a measurement counts, the site's own first.

    Raises
    ------
    DifferentPatientsError
        If they are not all known to be of one patient.
    NothingToCompareError
        If fewer than two visits with a date are left.
    """
    _require_one_patient(reports)
    chosen, notes = _one_for_each_visit(reports)
    visits = tuple(
        Visit(number, report.when, report.study_uid, report.device, report.source, report.unread)
        for number, report in enumerate(chosen, start=1)
        if report.when is not None
    )
    threads, linking = threads_of(chosen)
    notes += linking
    differences: list[Difference] = []
    series: list[Series] = []
    for thread in threads:
        if len(thread) == 1:
            notes.append(f"only at visit {thread[0].visit + 1}: {thread[0].group.words}")
            continue
        for one, other in _steps(thread):
            differences += _differences(thread, one, other, visits, figures)
            notes += _apart(thread[one], thread[other])
        series += _series(thread, visits, figures)
    return Comparison(visits, tuple(differences), tuple(series), tuple(dict.fromkeys(notes)))


# ------------------------------------------------------------------ visits


def _require_one_patient(reports: Sequence[PriorReport]) -> None:
    people = {(report.patient_id, report.patient_issuer) for report in reports}
    if len(people) > 1:
        raise DifferentPatientsError(
            "the exams are not all of one patient",
            where=", ".join(report.source for report in reports),
            was=f"{len(people)} different pairs of identifier and issuer",
            fix="leave the other patient's exam out, or mend identifier and issuer at their source",
        )
    if any(not identifier for identifier, _issuer in people):
        raise DifferentPatientsError(
            "the reports name no patient", where=", ".join(r.source for r in reports), fix="mend them at their source"
        )


def _one_for_each_visit(reports: Sequence[PriorReport]) -> tuple[list[PriorReport], list[str]]:
    """Return one dated report for each study in order of time; of several the one written last."""
    notes = []
    latest: dict[str, PriorReport] = {}
    for number, report in enumerate(reports):
        if report.when is None:
            notes.append(f"left aside, no date: {report.source}")
            continue
        key = report.study_uid or f"no study {number}"
        known = latest.get(key)
        if known is None:
            latest[key] = report
            continue
        older, newer = (known, report) if _written(known) <= _written(report) else (report, known)
        notes.append(f"left aside, another report of the same study was written later: {older.source}")
        latest[key] = newer
    if len(latest) < 2:
        raise NothingToCompareError(
            "fewer than two visits with a date", was=str(len(latest)), fix="name the exams of two visits or more"
        )
    return sorted(latest.values(), key=lambda report: (report.when or report.written, report.source)), notes


def _written(report: PriorReport) -> str:
    return report.written.isoformat() if report.written else ""


def _steps(thread: Thread) -> list[tuple[int, int]]:
    """Return each visit with the one before it, and the last with the first."""
    steps = [(index, index + 1) for index in range(len(thread) - 1)]
    return steps if len(thread) == 2 else [*steps, (0, len(thread) - 1)]


def _link(thread: Thread, first: int, last: int) -> Link:
    joined = {sighting.link for sighting in thread[first + 1 : last + 1]}
    return Link.PROPOSED if Link.PROPOSED in joined else Link.TRACKED


# ------------------------------------------------------------------ differences


def _differences(thread: Thread, first: int, last: int, visits: Sequence[Visit], figures: Figures) -> list[Difference]:
    one, other = thread[first], thread[last]
    return [
        difference_of(
            (other.group.words, quantity.words),
            _link(thread, first, last),
            Reading(visits[one.visit], earlier),
            Reading(visits[other.visit], later),
            band_for(later, other.group, figures),
        )
        for quantity, earlier, later in pairs_of(one.group, other.group)
    ]


def difference_of(what: tuple[str, str], link: Link, earlier: Reading, later: Reading, band: Band | None) -> Difference:
    """Return the difference of two readings of one quantity, or why there is none.

    Parameters
    ----------
    what : tuple of str
        The finding and the quantity in words.
    band : Band or None
        For the later reading.
    """
    unit = later.measurement.unit
    reasons = contradictions(earlier.measurement, later.measurement)
    before = in_unit_of(earlier.measurement, unit)
    difference = None if reasons or before is None else later.measurement.value - before
    return Difference(
        finding=what[0],
        quantity=what[1],
        link=link,
        earlier=earlier,
        later=later,
        difference=difference,
        unit=unit,
        months=months_between(earlier.visit.when, later.visit.when),
        verdict=verdict_of(difference, band),
        band=band if difference is not None else None,
        reasons=reasons,
        remarks=unlike_remarks(earlier.measurement, later.measurement),
    )


def verdict_of(difference: float | None, band: Band | None) -> Verdict:
    """Hold a difference against the band."""
    if difference is None:
        return Verdict.NOT_COMPARABLE
    if band is None:
        return Verdict.NO_BAND
    # The tiny allowance is for the binary representation of decimal digits, not for the measurement.
    return Verdict.WITHIN if abs(difference) <= band.half_width + 1e-9 else Verdict.BEYOND


def band_for(measurement: PriorMeasurement, group: PriorGroup, figures: Figures) -> Band | None:
    """Return the band of the first figure that holds for a measurement and gives a standard deviation.

    A mean of repeats scatters less than the single readings that the figures are of, so it has no band.
    """
    if measurement.derivation is not None and measurement.derivation.meaning.lower() == "mean":
        return None
    structure = measurement.structure or group.structure
    for figure in sorted(figures, key=lambda f: f.whose is not Whose.OWN):
        deviation = figure.standard_deviation
        fits = (
            figure.kind is measurement.kind
            and figure.structure in {"", structure}
            and (not figure.scans or measurement.direction in {scan.value for scan in figure.scans})
            and figure.contact in {None, measurement.contact}
        )
        if fits and deviation is not None and measurement.unit in set(Unit):
            half_width = between(repeatability_95(deviation), figure.unit, Unit(measurement.unit))
            return Band(half_width, measurement.unit, f"1.96 x sqrt(2) x SD; {figure.words}")
    return None


# ------------------------------------------------------------------ what has no partner


def _apart(one: Sighting, other: Sighting) -> list[str]:
    """Say which quantities stand at one of two visits alone, and which cannot be told apart."""
    notes = []
    before, after = quantities_of(one.group), quantities_of(other.group)
    paired = {quantity for quantity, _earlier, _later in pairs_of(one.group, other.group)}
    for quantity in dict.fromkeys((*before, *after)):
        if quantity in paired:
            continue
        here, there = len(before.get(quantity, ())), len(after.get(quantity, ()))
        what = f"{quantity.words} of {other.group.words}"
        if here and there:
            counts = f"{here} at visit {one.visit + 1}, {there} at visit {other.visit + 1}"
            notes.append(f"ambiguous, not compared: {what}: {counts}")
        else:
            notes.append(f"only at visit {(one if here else other).visit + 1}: {what}")
    return notes


# ------------------------------------------------------------------ series


def _series(thread: Thread, visits: Sequence[Visit], figures: Figures) -> list[Series]:
    readings: dict[Quantity, list[tuple[int, Reading]]] = {}
    for index, sighting in enumerate(thread):
        for quantity, numbers in quantities_of(sighting.group).items():
            if len(numbers) == 1:
                readings.setdefault(quantity, []).append((index, Reading(visits[sighting.visit], numbers[0])))
    found = [_one_series(thread, quantity, at, figures) for quantity, at in readings.items() if len(at) > 1]
    return [series for series in found if len(series.readings) > 1]


def _one_series(thread: Thread, quantity: Quantity, at: list[tuple[int, Reading]], figures: Figures) -> Series:
    """Return the readings that can be compared with the last one, and their trend."""
    last_index, last = at[-1]
    unit = last.measurement.unit
    kept, values, left_out, indices = [], [], [], []
    for index, reading in at:
        reasons = contradictions(reading.measurement, last.measurement)
        value = in_unit_of(reading.measurement, unit)
        if reasons or value is None:
            left_out.append(f"visit {reading.visit.number}: {'; '.join(reasons)}")
            continue
        kept.append(reading)
        values.append(value)
        indices.append(index)
    return Series(
        finding=thread[last_index].group.words,
        quantity=quantity.words,
        link=_link(thread, indices[0], last_index),
        readings=tuple(kept),
        values=tuple(values),
        unit=unit,
        band=band_for(last.measurement, thread[last_index].group, figures),
        trend=trend_of([reading.visit.when for reading in kept], values, unit),
        left_out=tuple(left_out),
    )
