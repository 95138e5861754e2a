from __future__ import annotations

from datetime import UTC, datetime

from gateway.errors.media import MediaError
from gateway.model.calibration import Point
from gateway.model.capture import Capture, CaptureKind
from gateway.model.coded import TextOrCode
from gateway.model.exam import Exam, HeldPart
from gateway.model.finding import Annotation, AnnotationKind, Finding
from gateway.model.holding import hold_captures
from gateway.model.laterality import Eye
from gateway.model.measurement import Measurement, MeasurementKind
from gateway.model.order import Order
from gateway.model.people import Patient, PersonName
from gateway.model.position import ProbePosition, Scan
from gateway.model.session import Session


def capture(name: str) -> Capture:
    return Capture(name, CaptureKind.STILL, (f"{name}.png",), Eye.RIGHT, ProbePosition(Scan.MACULA))


def exam() -> Exam:
    return Exam(
        "exam",
        Patient("1", "INVENTED", PersonName("Holm^Maija")),
        Order(),
        Session(datetime(2026, 3, 2, tzinfo=UTC)),
        captures=(capture("good"), capture("bad")),
        measurements=(
            Measurement("on-bad", "bad", MeasurementKind.HEIGHT, finding_id="both"),
            Measurement("on-good", "good", MeasurementKind.HEIGHT, finding_id="only-bad"),
        ),
        annotations=(Annotation("bad", AnnotationKind.TEXT, (Point(0, 0),), "here"),),
        findings=(
            Finding("both", Eye.RIGHT, TextOrCode("mass"), capture_ids=("good", "bad")),
            Finding("only-bad", Eye.RIGHT, TextOrCode("cyst"), capture_ids=("bad",)),
            Finding("nowhere", Eye.RIGHT, TextOrCode("lesion")),
        ),
    )


def test_what_rests_on_a_held_capture_is_held_with_it_and_the_rest_stays() -> None:
    held = HeldPart("captures[1]", "bad", MediaError("cut off"))
    kept, parts = hold_captures(exam(), [held])
    assert [c.id for c in kept.captures] == ["good"]
    assert [(m.id, m.finding_id) for m in kept.measurements] == [("on-good", "")]
    assert [(f.id, f.capture_ids) for f in kept.findings] == [("both", ("good",)), ("nowhere", ())]
    assert kept.annotations == ()
    assert parts[0] is held
    assert {part.name for part in parts[1:]} == {"on-bad", "only-bad", "here"}


def test_nothing_held_changes_nothing() -> None:
    assert hold_captures(exam(), []) == (exam(), ())
