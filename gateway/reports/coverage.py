"""What the pictures show of each eye, as lines of text and as shapes on the chart."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from gateway.coverage.chart import coverage_lines, coverage_of
from gateway.coverage.claims import Claim, Shade
from gateway.coverage.completeness import Judgement, judgements_of, missing_steps
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.model.position import Zone
from gateway.reports.characters import seen
from gateway.reports.content import CoverageShape, EyeCoverageText, JudgementRow

ZONE_BANDS_DEG: Final = {
    Zone.POSTERIOR_POLE: (0.0, 25.0),
    Zone.NEAR_POSTERIOR_POLE: (25.0, 50.0),
    Zone.POSTERIOR_TO_EQUATOR: (50.0, 75.0),
    Zone.EQUATOR: (75.0, 100.0),
    Zone.ANTERIOR_TO_EQUATOR: (100.0, 116.0),
    Zone.ORA_SERRATA: (116.0, 124.0),
    Zone.CILIARY_BODY: (124.0, 134.0),
}
"""Angles from the posterior pole; the widths are this project's own choice."""
_MERIDIAN_HALF_WIDTH_HOURS: Final = 0.2
NOT_JUDGED: Final = "The exam names no protocol, so nothing is said about whether it is complete."


def coverage_text(exam: Exam, eye: Eye) -> EyeCoverageText:
    """Say what is shown of one eye, and what each rule set of the exam's protocol misses."""
    coverage = coverage_of(exam, eye)
    judged = tuple(_row(judgement) for judgement in judgements_of(exam) if judgement.eye is eye)
    steps = ", ".join(f"{step.id} ({step.words})" for step in missing_steps(exam, eye))
    no_protocol = exam.session.protocol is None and coverage.has_captures
    return EyeCoverageText(
        lines=coverage_lines(coverage),
        judgements=judged,
        missing_steps=seen(steps),
        not_judged=NOT_JUDGED if no_protocol else "",
        shapes=tuple(shape for claim in coverage.claims for shape in _shapes(claim)),
    )


def _row(judgement: Judgement) -> JudgementRow:
    return JudgementRow(
        rules=seen(f"{judgement.rule_set} of {judgement.protocol}"),
        subject=seen(judgement.subject),
        verdict="complete" if judgement.is_complete else "incomplete",
        missing=tuple(seen(words) for words in judgement.missing),
        source=seen(judgement.source),
    )


def _shapes(claim: Claim) -> Iterator[CoverageShape]:
    """Yield one ring sector for each run of neighbouring zones."""
    middle, reach = claim.middle / 2, claim.reach / 2 or _MERIDIAN_HALF_WIDTH_HOURS
    bands = sorted(ZONE_BANDS_DEG[zone] for zone in claim.zones)
    while bands:
        inner, outer = bands.pop(0)
        while bands and math.isclose(bands[0][0], outer):
            outer = bands.pop(0)[1]
        yield CoverageShape(claim.shade.name.lower().replace("_", "-"), middle - reach, middle + reach, inner, outer)


def shape_path(shape: CoverageShape, rim_deg: float, rim: float) -> str:
    """Return a ring sector as SVG path data: x to the right, y down, 12 o'clock at the top.

    Arcs are drawn in two halves, because one of exactly half a circle could go either way round.
    """
    inner, outer = (angle / rim_deg * rim for angle in (shape.inner_deg, shape.outer_deg))
    hours = (shape.first_hour, (shape.first_hour + shape.last_hour) / 2, shape.last_hour)

    def point(hour: float, radius: float) -> str:
        angle = math.radians(hour * 30)
        return f"{radius * math.sin(angle):.2f} {-radius * math.cos(angle):.2f}"

    def arc(radius: float, over: tuple[float, ...], sweep: int) -> str:
        return " ".join(f"A {radius:.2f} {radius:.2f} 0 0 {sweep} {point(hour, radius)}" for hour in over)

    start = f"M {point(hours[0], outer)} {arc(outer, hours[1:], 1)}"
    if inner == 0:
        return f"{start} L 0 0 Z"
    return f"{start} L {point(hours[2], inner)} {arc(inner, hours[1::-1], 0)} Z"


def shades_in_order() -> tuple[str, ...]:
    """Return the shades from least to most, as they are drawn."""
    return tuple(shade.name.lower().replace("_", "-") for shade in Shade)
