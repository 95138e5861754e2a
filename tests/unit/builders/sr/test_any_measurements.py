"""Whatever was measured, the report stays a legal Comprehensive SR that states each number once and exactly."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.acoustics.quantities import quantity_rule
from gateway.builders.sr.content import ContentItem
from gateway.builders.sr.report import report_content
from gateway.builders.sr.values import Coordinates, Num, Text, ValueType
from gateway.model.calibration import Point
from gateway.model.coded import TextOrCode
from gateway.model.exam import MeasuredExam
from gateway.model.finding import Finding, Presence
from gateway.model.laterality import Eye
from gateway.model.measurement import (
    CorrectedValue,
    MeasuredValue,
    Measurement,
    MeasurementKind,
    Quantity,
    TissueSpeed,
    Unit,
    ValueOrigin,
)
from gateway.model.people import PersonName
from gateway.model.position import ClockHour, Zone
from gateway.standard.codes import concept, words
from tests.unit.builders.sr.invented_exam import a_context, an_exam, built_images
from tests.unit.builders.sr.test_content import ALLOWED

WORDS = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1).filter(lambda s: bool(s.strip()))
NUMBERS = st.floats(allow_nan=False, allow_infinity=False, width=64)
PLACES = st.builds(Point, st.floats(0, 640), st.floats(0, 480))
STRUCTURES = st.sampled_from(("", *words("structure")))


@st.composite
def quantities(draw: st.DrawFn) -> Quantity:
    value = draw(NUMBERS)
    text = draw(st.sampled_from(["", f"{value:.2f}", f"{value:g}", "not a number"]))
    return Quantity(value, draw(st.sampled_from(Unit)), text)


@st.composite
def findings(draw: st.DrawFn) -> tuple[Finding, ...]:
    def what() -> TextOrCode:
        word = draw(st.sampled_from(words("finding")))
        return draw(st.sampled_from([TextOrCode(draw(WORDS)), TextOrCode(word, concept("finding", word))]))

    return tuple(
        Finding(
            f"f{number}",
            draw(st.sampled_from(Eye)),
            what(),
            draw(st.sampled_from(Presence)),
            draw(STRUCTURES),
            draw(st.none() | st.builds(ClockHour, st.integers(2, 25))),
            draw(st.none() | st.sampled_from(Zone)),
            comment=draw(st.just("") | WORDS),
        )
        for number in range(draw(st.integers(0, 3)))
    )


@st.composite
def measured_values(draw: st.DrawFn, number: int, stated: tuple[Finding, ...]) -> MeasuredValue:
    capture_id, eye = draw(st.sampled_from([("od-l9", Eye.RIGHT), ("od-loop", Eye.RIGHT), ("os-axial", Eye.LEFT)]))
    kind = draw(st.sampled_from(MeasurementKind))
    origin = draw(st.sampled_from(ValueOrigin))
    fewest = quantity_rule(kind).fewest
    has_points = origin is not ValueOrigin.TRANSCRIBED
    points = tuple(draw(st.lists(PLACES, min_size=fewest, max_size=fewest))) if has_points else ()
    speed = TissueSpeed(draw(st.floats(300, 8000)), draw(st.just("") | WORDS), draw(st.just("") | WORDS))
    own = [finding.id for finding in stated if finding.eye is eye]
    measurement = Measurement(
        f"m{number}",
        capture_id,
        kind,
        frame=4 if capture_id == "od-loop" and has_points else None,
        points=points,
        structure=draw(STRUCTURES),
        finding_id=draw(st.sampled_from(["", "unknown", *own])),
        measured_by=draw(st.none() | st.just(PersonName("Lind^Tove"))),
        repeats=tuple(draw(st.lists(quantities(), max_size=3))),
        comment=draw(st.just("") | WORDS),
    )
    corrected = CorrectedValue(draw(quantities()), speed, 1550.0, "depth x ratio")
    return MeasuredValue(
        measurement,
        draw(quantities()),
        origin,
        corrected=draw(st.none() | st.just(corrected)) if has_points else None,
        not_corrected_because=draw(st.sampled_from(["", "the number came without its calipers"])),
    )


@st.composite
def measured_exams(draw: st.DrawFn) -> MeasuredExam:
    stated = draw(findings())
    values = tuple(draw(measured_values(number, stated)) for number in range(draw(st.integers(0, 3))))
    return MeasuredExam(an_exam(findings=stated, language=draw(st.sampled_from(["en", "fi"]))), values)


def content_of(measured: MeasuredExam) -> ContentItem:
    return report_content(measured, built_images(measured.exam), a_context(Path("unused")))


def triples(item: ContentItem) -> set[tuple[str, str, str]]:
    found = {
        (item.value.value_type.value, child.relationship.value, child.item.value.value_type.value)
        for child in item.children
    }
    return found.union(*(triples(child.item) for child in item.children))


ANY_EXAM = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@ANY_EXAM
@given(measured_exams())
def test_every_relationship_is_one_of_comprehensive_sr(measured: MeasuredExam) -> None:
    assert triples(content_of(measured)) <= ALLOWED


@ANY_EXAM
@given(measured_exams())
def test_every_measurement_appears_once_with_its_exact_number_and_calipers(measured: MeasuredExam) -> None:
    groups = [group for group in content_of(measured).walk() if group.name == concept("sr", "measurement-group")]
    for value in measured.values:
        tracked = []
        for group in groups:
            for child in group.children:
                labels = [
                    c.item.value for c in child.item.children if c.item.name == concept("sr", "tracking-identifier")
                ]
                if child.item.value.value_type is ValueType.NUM and Text(value.measurement.id) in labels:
                    tracked.append(child.item)
        (item,) = tracked
        assert isinstance(item.value, Num)
        assert item.value.number == value.value.value
        assert item.value.unit.value == value.value.unit.value
        drawn = [c.item.value for c in item.children if isinstance(c.item.value, Coordinates)]
        assert [shape.points[: len(value.measurement.points)] for shape in drawn] == (
            [value.measurement.points] if value.measurement.points else []
        )


@ANY_EXAM
@given(measured_exams())
def test_only_what_is_present_is_ever_a_finding(measured: MeasuredExam) -> None:
    stated = [item.value for item in content_of(measured).walk() if item.name == concept("sr", "finding")]
    present = [f for f in measured.exam.findings if f.presence is Presence.PRESENT and f.what.code]
    assert len(stated) == len(present)


def test_a_negative_finding_would_be_noticed() -> None:
    """The property above can fail: two findings of which one is present give one item of that name."""
    mass = TextOrCode("mass", concept("finding", "mass"))
    stated = (Finding("f0", Eye.RIGHT, mass), Finding("f1", Eye.RIGHT, mass, Presence.ABSENT))
    measured = MeasuredExam(dataclasses.replace(an_exam(), findings=stated), ())
    items = [item for item in content_of(measured).walk() if item.name == concept("sr", "finding")]
    assert len(items) == 1
