"""Series hold one eye, and a held neighbour renumbers nothing."""

from __future__ import annotations

import dataclasses
from itertools import product
from pathlib import Path

from gateway.builders.options import BuildOptions, SeriesBy
from gateway.builders.series import plan_series
from gateway.mapping.exam_document import read_exam_document
from gateway.model.capture import Capture, CaptureKind
from gateway.model.laterality import Eye
from gateway.model.position import ClockHour, ProbePosition, Scan, Zone
from tests.unit.builders.invented_captures import BARE_EXAM

BY_KIND, BY_POSITION = BuildOptions(), BuildOptions(series_by=SeriesBy.POSITION)


def captures() -> tuple[Capture, ...]:
    made = []
    for number, (eye, kind, hour) in enumerate(product(Eye, CaptureKind, (6, 7)), start=1):
        position = ProbePosition(Scan.TRANSVERSE, "", ClockHour(hour), Zone.EQUATOR)
        made.append(Capture(f"c{number}", kind, ("f",), eye, position, number=number))
    return tuple(made)


EXAM = dataclasses.replace(BARE_EXAM, captures=captures())


def test_stills_and_loops_of_each_eye_are_four_series() -> None:
    plan = plan_series(EXAM, BY_KIND)
    series = {placed.series for placed in plan.values()}
    assert sorted((s.series_number, s.description) for s in series) == [
        (1, "OD stills"),
        (2, "OD loops"),
        (3, "OS stills"),
        (4, "OS loops"),
    ]
    assert len({s.series_instance_uid for s in series}) == 4


def test_no_series_holds_two_eyes() -> None:
    for options in (BY_KIND, BY_POSITION):
        eyes: dict[str, set[Eye]] = {}
        for capture in EXAM.captures:
            placed = plan_series(EXAM, options)[capture.id]
            eyes.setdefault(placed.series.series_instance_uid, set()).add(capture.eye)
            assert placed.series.description.startswith(capture.eye.abbreviation)
        assert all(len(found) == 1 for found in eyes.values())


def test_positions_are_told_in_the_series_list() -> None:
    plan = plan_series(EXAM, BY_POSITION)
    assert len({placed.series.series_instance_uid for placed in plan.values()}) == 8
    assert plan["c2"].series.description == "OD transverse 3:30 o'clock, equator, stills"
    numbers = [placed.series.series_number for placed in plan.values()]
    assert len(set(numbers)) == 8
    assert max(numbers) < 2**31


def test_the_longest_words_still_fit_a_series_description() -> None:
    words = "swept slowly from the limbus to the fornix while the patient looks about"
    capture = dataclasses.replace(EXAM.captures[0], position=ProbePosition(Scan.OTHER, words, zone=Zone.EQUATOR))
    plan = plan_series(dataclasses.replace(EXAM, captures=(capture,)), BY_POSITION)
    description = plan["c1"].series.description
    assert len(description) <= 64
    assert description.startswith("OD swept slowly")
    assert description.endswith("..., stills")


def test_a_held_capture_leaves_the_others_as_they_were() -> None:
    for options in (BY_KIND, BY_POSITION):
        whole = plan_series(EXAM, options)
        fewer = plan_series(dataclasses.replace(EXAM, captures=EXAM.captures[3:]), options)
        assert all(whole[capture_id] == placed for capture_id, placed in fewer.items())


def test_numbers_come_from_the_order_where_there_is_no_document() -> None:
    plan = plan_series(BARE_EXAM, BY_KIND)
    assert [placed.instance_number for placed in plan.values()] == [1, 2]
    assert plan["b"].capture_path == "captures[1]"


def test_captures_read_from_a_document_keep_their_numbers_when_one_is_held(tmp_path: Path) -> None:
    capture = "  - {{id: c{0}, kind: still, file: c{0}.png, eye: {1}, scan: macula}}\n"
    text = (
        "format: eye-ultrasound-exam/1\nsynthetic: yes\npatient: {id: INV-1, issuer: INVENTED, name: Holm^Maija}\n"
        "session: {start: '2026-03-02T09:30:00+01:00'}\ncaptures:\n"
        + capture.format(1, "right")
        + capture.format(2, "both")
        + capture.format(3, "left")
    )
    document = tmp_path / "exam.yaml"
    document.write_text(text, encoding="utf-8")
    exam = read_exam_document(document).exam
    plan = plan_series(exam, BY_KIND)
    assert {capture_id: placed.instance_number for capture_id, placed in plan.items()} == {"c1": 1, "c3": 3}
    assert plan["c3"].capture_path == "captures[2]"
