"""What a document says arrives in the exam, unaltered."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from gateway.errors import Place
from gateway.mapping.exam_document import exam_key, read_exam_document
from gateway.mapping.located.tree import plain
from gateway.mapping.located.yaml_reader import read_yaml
from gateway.model.calibration import DepthAxis, PixelRegion, Point, ScaleSource
from gateway.model.capture import CaptureKind, Contact, FrameRange, LensStatus, ThermalIndexKind, VitreousStatus
from gateway.model.exam import Caution
from gateway.model.finding import AnnotationKind, Presence
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasurementKind, TissueSpeed, Unit
from gateway.model.people import PersonName, Sex
from gateway.model.position import Gaze, MarkerDirection, Scan, Zone

DOCUMENTS = Path(__file__).parent / "documents"


@pytest.fixture(scope="module")
def exam():
    mapped = read_exam_document(DOCUMENTS / "everything.yaml")
    assert mapped.held == ()
    return mapped.exam


def test_the_key_is_the_folders_name(exam):
    assert exam.key == "documents"


@pytest.mark.parametrize(
    ("folder", "key"),
    [("A 1/é", "exam"), ("exam 2026:03", "exam-2026-03"), ("x" * 90, "x" * 64), ("..a..", "a")],
)
def test_the_key_is_safe_in_logs_and_file_names(tmp_path, folder, key):
    assert exam_key(tmp_path / folder / "exam.yaml") == key


def test_texts_that_other_readers_convert_stay_texts(exam):
    # YAML 1.1 readers make 68, False, 7 and 1.1 of these.
    assert exam.patient.id == "0104"
    assert exam.order.accession_number == "NO"
    assert exam.session.device.serial == "007"
    assert exam.session.device.software == "1.10"
    assert exam.annotations[1].text == "NO"


def test_the_patient_is_complete(exam):
    assert exam.patient.name == PersonName("Holm^Maija^Aino^Dr^MD", "山田^太郎", "やまだ^たろう")
    assert exam.patient.birth_date == date(1958, 3, 14)
    assert exam.patient.sex is Sex.FEMALE
    assert exam.patient.issuer == "INVENTED-ISLAND-EYE-CLINIC"


def test_the_order_is_complete(exam):
    order = exam.order
    assert order.requested_procedure.id == "RP-1"
    assert order.requested_procedure.code.value == "EU1"
    assert order.study_instance_uid == "2.25.101"
    assert order.requesting_physician == PersonName("Berg^Nora")
    assert order.referring_physician == PersonName("Dahl^Per")
    assert order.indication.text == "mass seen in right fundus"
    assert order.indication.code.meaning == "Mass"
    assert order.working_diagnosis.text == "choroidal mass"
    assert order.working_diagnosis.code is None


def test_the_session_is_complete(exam):
    session = exam.session
    assert session.start.astimezone(UTC) == datetime(2026, 3, 2, 8, 30, tzinfo=UTC)
    assert session.start.utcoffset() == timedelta(hours=1)
    assert session.examiner == PersonName("Lind^Tove")
    assert (session.institution, session.station, session.visit) == ("Invented Island Eye Clinic", "US-1", "1")
    assert (session.probe.type, session.probe.nominal_frequency_mhz) == ("SECTOR_MECH", 10.0)
    assert set(exam.cautions) == set(Caution)
    assert exam.is_synthetic


def test_a_still_is_complete(exam):
    capture = exam.captures[0]
    assert (capture.id, capture.kind, capture.files) == ("od-t3-eq", CaptureKind.STILL, ("media/od-t3-eq.png",))
    assert capture.eye is Eye.RIGHT
    assert capture.acquired is not None
    assert capture.acquired.microsecond == 250_000
    position = capture.position
    assert (position.scan, position.zone, position.scan_words) == (Scan.TRANSVERSE, Zone.EQUATOR, "as ordered")
    assert position.clock_hour.half_hours == 7
    assert (position.marker, position.gaze) == (MarkerDirection.SUPERIOR, Gaze.RIGHT)
    settings = capture.settings
    assert (settings.contact, settings.couplant, settings.anaesthetic) == (Contact.THROUGH_LID, "gel", "topical")
    assert (settings.gain_db, settings.display_gain_db, settings.dynamic_range_db) == (84.0, -3.0, 60.0)
    assert (settings.depth_mm, settings.mechanical_index) == (40.0, 0.18)
    assert (settings.thermal_index.kind, settings.thermal_index.value) == (ThermalIndexKind.SOFT_TISSUE, 0.2)
    assert (capture.lens, capture.vitreous) == (LensStatus.CRYSTALLINE, VitreousStatus.VITREOUS)
    assert capture.is_key_image
    assert capture.comment == "two\nlines\n"


def test_a_calibration_in_centre_convention_moves_the_pivot_by_half_a_pixel(exam):
    calibration = exam.captures[0].calibration
    assert (calibration.mm_per_pixel_x, calibration.mm_per_pixel_y) == (0.0625, 0.05)
    assert calibration.depth_axis is DepthAxis.LEFT_TO_RIGHT
    assert calibration.scale_source is ScaleSource.DERIVED
    assert calibration.assumed_speed_m_per_s == 1550.0
    assert calibration.sector.pivot == Point(-120.0, 240.0)
    assert (calibration.sector.pivot_to_face_mm, calibration.sector.opening_angle_deg) == (8.0, 52.0)
    assert calibration.region == PixelRegion(0, 0, 639, 479)


def test_loops_keep_rate_times_files_and_range(exam):
    loop, frames = exam.captures[1:3]
    assert (loop.timing.frame_rate_hz, loop.kept) == (20.0, FrameRange(3, 38))
    assert loop.calibration.depth_axis is DepthAxis.TOP_DOWN
    assert frames.files == ("f1.png", "f2.png", "f3.png")
    assert frames.timing.frame_times_ms == (0.0, 50.0, 101.0)
    assert frames.position.clock_hour.half_hours == 25


def test_centre_points_move_by_half_a_pixel_and_corner_points_stay(exam):
    centre, corner = exam.measurements[:2]
    assert centre.points == (Point(213.0, 240.5), Point(308.7, 241.6))
    assert corner.points == (Point(1, 1), Point(20, 1), Point(20, 20))


def test_frames_count_in_the_stored_loop(exam):
    assert exam.measurements[1].frame == 12 - 3 + 1
    assert exam.annotations[0].frame == 10
    assert exam.measurements[0].frame is None


def test_a_measurement_is_complete(exam):
    height = exam.measurements[0]
    assert (height.kind, height.structure, height.finding_id) == (MeasurementKind.HEIGHT, "choroid", "f1")
    assert (height.displayed.value, height.displayed.unit, height.displayed.text) == (6.0, Unit.MM, "6.00")
    assert height.displayed.words == "6.00 mm"
    assert (height.tissue_speed.tissue, height.tissue_speed.speed_m_per_s) == ("tumour", 1550.0)
    assert "memory" in height.tissue_speed.source
    assert [repeat.text for repeat in height.repeats] == ["5.9", "6.0"]
    assert height.measured_by == PersonName("Lind^Tove")
    assert height.comment == "steady"


def test_a_bare_speed_names_its_place_in_the_document(exam):
    speed = exam.measurements[1].tissue_speed
    assert (speed.speed_m_per_s, speed.tissue) == (1532.0, "")
    assert speed.source.startswith("everything.yaml:")
    assert "measurements[1].speed_m_per_s" in speed.source


def test_annotations_hold_tail_then_head(exam):
    arrow, text = exam.annotations
    assert (arrow.kind, arrow.points, arrow.text) == (AnnotationKind.ARROW, (Point(100, 90), Point(212.5, 240)), "apex")
    assert (text.kind, text.points) == (AnnotationKind.TEXT, (Point(20.5, 30.5),))


def test_a_known_finding_word_gets_its_code_and_spaces(exam):
    first, second = exam.findings
    assert first.what.text == "foreign body"
    assert first.what.code is not None
    assert first.clock_hour.hours == 9.0
    assert first.capture_ids == ("od-t3-eq", "od-loop")
    assert (second.what.text, second.what.code.value) == ("drusen", "D1")
    assert second.presence is Presence.NOT_SHOWN


def test_a_finding_in_other_words_stays_text(read, smallest):
    finding = read(smallest + "findings: [{id: f, eye: left, what: membrane on the disc}]\n").exam.findings[0]
    assert (finding.what.text, finding.what.code) == ("membrane on the disc", None)
    assert finding.presence is Presence.PRESENT


def test_origins_name_the_place_of_every_stated_value(exam):
    lines = (DOCUMENTS / "everything.yaml").read_text(encoding="utf-8").splitlines()
    for field, text in [
        ("captures[0].eye", "right"),
        ("patient.name.alphabetic", '"Holm^Maija'),
        ("measurements[0].points", "[[212.5"),
        ("measurements[0].displayed.value", "6.00"),
        ("captures[1].keep.first", "3,"),
        ("captures[0].calibration.sector.pivot", "[-120.5"),
        ("findings[1].what.code.value", "D1"),
        ("cautions", "[suspected"),
    ]:
        place = exam.origins[field]
        assert isinstance(place, Place)
        assert lines[place.line - 1][place.column - 1 :].startswith(text), field
        assert (place.field, place.file) == (field, "everything.yaml")
    assert "measurements[1]" in exam.origins
    assert not any(field.startswith("captures[0].lens_") for field in exam.origins)


def test_unstated_fields_stay_empty(read, smallest):
    exam = read(smallest).exam
    capture = exam.captures[0]
    assert capture.acquired is None
    assert capture.calibration is None
    assert capture.position.marker is None
    assert capture.settings.contact is None
    assert capture.lens is None
    assert exam.patient.sex is None
    assert exam.order.accession_number == ""
    assert not exam.is_synthetic
    assert exam.language == "en"


@pytest.mark.parametrize("nothing", ["", "~", "null"])
def test_a_key_with_nothing_behind_it_is_as_if_absent(read, smallest, nothing):
    exam = read(smallest + f"    comment: {nothing}\norder: {nothing}\nmeasurements: {nothing}\n").exam
    assert exam.captures[0].comment == ""
    assert exam.measurements == ()


def test_the_name_null_is_a_name(read, smallest):
    # A family name in the real world; capital letters and quotes keep it.
    assert read(smallest.replace("Holm^Maija", "Null")).exam.patient.name.alphabetic == "Null"
    assert read(smallest.replace("Holm^Maija", '"null"')).exam.patient.name.alphabetic == "null"


def without_places(capture):
    """The capture without the lines and columns at which speeds of sound stand."""
    lines = [replace(line, speed=line.speed and replace(line.speed, source="")) for line in capture.a_scan_lines]
    a_scan = capture.a_scan
    if a_scan is not None and a_scan.samples is not None:
        samples = replace(a_scan.samples, speed=replace(a_scan.samples.speed, source=""))
        a_scan = replace(a_scan, samples=samples)
    return replace(capture, a_scan_lines=tuple(lines), a_scan=a_scan)


def test_json_says_the_same_as_yaml(read, everything, tmp_path):
    as_json = json.dumps(plain(read_yaml(everything, "x")), ensure_ascii=False, indent=1)
    one, two = read(everything).exam, read(as_json, "exam.json").exam
    assert [without_places(c) for c in one.captures] == [without_places(c) for c in two.captures]
    assert one.findings == two.findings
    assert (one.patient, one.order, one.session) == (two.patient, two.order, two.session)
    assert [m.points for m in one.measurements] == [m.points for m in two.measurements]


def test_json_numbers_keep_their_digits(read, smallest):
    text = """{"format": "eye-ultrasound-exam/1", "patient": {"id": "1", "issuer": "X", "name": "A^B"},
    "session": {"start": "2026-03-02T09:30:00Z", "device": {"software": 1.10}},
    "captures": [{"id": "a", "kind": "still", "file": "a.png", "eye": "left", "scan": "macula", "key_image": true}],
    "measurements": [{"id": "m", "capture": "a", "kind": "height", "displayed": {"value": 6.00, "unit": "mm"}}]}"""
    exam = read(text, "exam.json").exam
    assert exam.measurements[0].displayed.text == "6.00"
    assert exam.session.device.software == "1.10"
    assert exam.captures[0].is_key_image


def test_empty_lists_and_mappings_in_json_are_followed_by_others(read, smallest):
    text = """{"captures": [{"id": "a", "kind": "still", "file": "a.png", "eye": "left", "scan": "macula"}],
    "measurements": [], "order": {"requested_procedure": {}, "accession_number": "A-1"}, "findings": [],
    "format": "eye-ultrasound-exam/1", "patient": {"id": "1", "issuer": "X", "name": "A^B"},
    "session": {"start": "2026-03-02T09:30:00Z"}}"""
    assert read(text, "exam.json").exam.order.accession_number == "A-1"


def test_a_long_indication_is_kept_whole(read, smallest):
    words = "mass seen in the right fundus, growing since the last visit, " * 10
    text = smallest.replace("session:", f"order: {{indication: '{words.strip()}'}}\nsession:")
    assert read(text).exam.order.indication.text == words.strip()


def test_a_site_may_bring_its_own_speeds(tmp_path, everything):
    (tmp_path / "exam.yaml").write_text(everything, encoding="utf-8")
    speeds = {"tumour": TissueSpeed(1600.0, "tumour", "the site's own table")}
    exam = read_exam_document(tmp_path / "exam.yaml", speeds=speeds).exam
    assert exam.measurements[0].tissue_speed.speed_m_per_s == 1600.0


@pytest.mark.parametrize("path", sorted(DOCUMENTS.glob("*.yaml")), ids=lambda path: path.name)
def test_documents_of_format_1_stay_valid_for_ever(path):
    # Frozen files: a change of the code that makes one of them fail, or needs one of them edited, breaks the format.
    assert read_exam_document(path).held == ()
