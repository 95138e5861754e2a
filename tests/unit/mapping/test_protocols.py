"""Protocols: shipped ones, a site's own, and captures that take their place from a step."""

from __future__ import annotations

import jsonschema
import pytest
from ruamel.yaml import YAML

from gateway.errors.document import ExamDocumentError
from gateway.errors.protocols import ProtocolFileError
from gateway.mapping.exam_document import read_exam_document
from gateway.mapping.protocols import load_protocols
from gateway.mapping.schema import protocol_schema
from gateway.model.capture import CaptureKind
from gateway.model.laterality import Eye
from gateway.model.position import ClockHour, Scan, Zone
from gateway.shipped import shipped_path
from tests.unit.mapping.conftest import DOCUMENTS

OWN = """\
format: eye-ultrasound-protocol/1
name: island
words: What the island clinic does
source: common practice
checked: memory
steps:
  - {id: T6E, words: below, eye: each, kind: still, scan: transverse, clock_hour: 6, zones: [equator], required: yes}
rule_sets:
  - name: one
    words: one still below
    judges: eye
    needs: [{words: inferior still, scan: transverse, clock_hour: 6}]
    source: common practice
    checked: memory
"""


def codes_of(part):
    return {problem.code: problem for problem in getattr(part.reason, "problems", [part.reason])}


def test_every_shipped_protocol_is_valid_by_the_published_schema_under_another_implementation():
    validator = jsonschema.Draft202012Validator(protocol_schema())
    validator.check_schema(protocol_schema())
    files = sorted(shipped_path("mappings/protocols").glob("*.yaml"))
    assert len(files) >= 3
    for path in files:
        content = YAML(typ="safe", pure=True).load(path)
        assert [error.message for error in validator.iter_errors(content)] == []
        assert content["name"] == path.stem


def test_the_screening_protocol_is_the_five_manoeuvres_of_its_source():
    # Fairbanks A et al., Ocular Ultrasound, University of Iowa, 2016: four swept quadrants (12, 3, 6, 9) and one
    # longitudinal scan through macula and disc, which lies at 9 o'clock in the right eye and at 3 in the left.
    protocol = load_protocols()["five-sweep-screening"]
    required = [step for step in protocol.steps if step.is_required]
    for eye, macula in ((Eye.RIGHT, 9), (Eye.LEFT, 3)):
        mine = {(step.scan, step.clock_hour.hours) for step in required if step.eye in {None, eye}}
        assert mine == {(Scan.TRANSVERSE, hour) for hour in (12, 3, 6, 9)} | {(Scan.LONGITUDINAL, macula)}
    assert {step.id: step.eye for step in required if step.eye} == {"L9": Eye.RIGHT, "L3": Eye.LEFT}


def test_a_capture_takes_its_place_from_its_step_and_says_so():
    exam = read_exam_document(DOCUMENTS / "witnesses-and-protocol.yaml").exam
    swept, stated = exam.captures
    assert (swept.position.scan, swept.position.clock_hour) == (Scan.TRANSVERSE, ClockHour(24))
    assert (swept.is_swept, swept.protocol_step) == (True, "T12")
    assert swept.position_origin == "scan, clock hour from protocol step T12 of five-sweep-screening"
    assert str(exam.origins["captures[0].clock_hour"]) == "protocol step T12 of five-sweep-screening"
    assert stated.position_origin == ""
    assert [(s.eye, s.clock_hour.hours) for s in exam.session.declared_swept] == [(Eye.LEFT, 6), (Eye.RIGHT, 6.5)]
    assert exam.session.protocol == load_protocols()["five-sweep-screening"]


def test_a_step_with_one_depth_gives_it(tmp_path):
    folder = tmp_path / "protocols"
    folder.mkdir()
    (folder / "island.yaml").write_text(OWN, encoding="utf-8")
    protocols = load_protocols(folder)
    assert {"island", "five-sweep-screening"} <= set(protocols)
    assert protocols["island"].source == "common practice (source checked: memory)"
    (tmp_path / "exam.yaml").write_text(exam("island", "protocol_step: T6E"), encoding="utf-8")
    found = read_exam_document(tmp_path / "exam.yaml", protocols=protocols).exam.captures[1]
    assert found.position.zone is Zone.EQUATOR
    assert found.position_origin == "scan, clock hour, zone from protocol step T6E of island"
    assert found.kind is CaptureKind.STILL


def exam(protocol: str, *more: str, kind: str = "still") -> str:
    return (
        "format: eye-ultrasound-exam/1\npatient: {id: INV-1, issuer: INVENTED, name: Holm^Maija}\n"
        f'session: {{start: "2026-03-02T09:30:00+01:00"{", protocol: " + protocol if protocol else ""}}}\n'
        "captures:\n  - {id: good, kind: still, file: g.png, eye: left, scan: macula}\n"
        f"  - {{id: a, kind: {kind}, file: a.png, eye: right, {', '.join(more)}}}\n"
    )


@pytest.mark.parametrize(
    ("text", "code", "field", "says"),
    [
        (exam("", "protocol_step: T12"), "unknown-protocol-step", "protocol_step", "session.protocol"),
        (exam("five-sweep-screening", "protocol_step: t12"), "unknown-protocol-step", "protocol_step", "mean T12"),
        (exam("five-sweep-screening", "key_image: yes"), "field-missing", "scan", "write scan:"),
        (
            exam("five-sweep-screening", "protocol_step: T12", "scan: longitudinal"),
            "protocol-contradiction",
            "scan",
            "longitudinal here, but transverse at five-sweep-screening.yaml:",
        ),
        (
            exam("five-sweep-screening", "protocol_step: T12", "clock_hour: 3"),
            "protocol-contradiction",
            "clock_hour",
            "3 o'clock here, but 12 o'clock at",
        ),
        (
            exam("five-sweep-screening", "protocol_step: AXH", "zone: equator"),
            "protocol-contradiction",
            "zone",
            "equator here, but posterior pole at",
        ),
        (exam("five-sweep-screening", "protocol_step: T12", "swept: yes"), "sweep-not-applicable", "swept", "still"),
        (
            exam("five-sweep-screening", "protocol_step: L9", "swept: yes", kind="loop"),
            "sweep-not-applicable",
            "swept",
            "longitudinal loop",
        ),
    ],
)
def test_what_does_not_fit_its_step_holds_the_capture_with_both_places(read, text, code, field, says):
    (part,) = read(text).held
    problem = codes_of(part)[code]
    assert problem.where.file == "exam.yaml"
    assert problem.where.field.endswith(field)
    assert says in str(problem)


def test_an_unknown_protocol_stops_the_exam_and_the_nearest_is_named(read):
    with pytest.raises(ExamDocumentError) as caught:
        read(exam("five-sweeps-screening", "scan: macula"))
    (problem,) = caught.value.problems
    assert problem.code == "unknown-protocol"
    assert "did you mean five-sweep-screening?" in problem.fix


@pytest.mark.parametrize(
    ("right", "wrong", "says"),
    [
        ("eye-ultrasound-protocol/1", "eye-ultrasound-protocol/2", "not a protocol"),
        ("clock_hour: 6, zones", "zones", "needs a clock hour"),
        ("scan: transverse, clock_hour: 6, zones", "scan: axial-vertical, clock_hour: 6, zones", "of its own"),
        ("eye: each", "eye: both", "not an eye"),
        ("judges: eye", "judges: finding", "no findings are named"),
        ("judges: eye", "judges: finding\n    findings: [unicorn]", "not known"),
        ("judges: eye", "judges: eye\n    findings: [mass]", "judged as a whole"),
        ("required: yes}", "required: yes}\n  - {id: T6E, words: again, scan: macula, required: no}", "stands twice"),
        ("name: one", "nmae: one", "not known here"),
    ],
)
def test_a_doubtful_protocol_is_refused_as_a_whole_with_its_line(tmp_path, right, wrong, says):
    assert OWN.count(right) == 1
    (tmp_path / "own.yaml").write_text(OWN.replace(right, wrong), encoding="utf-8")
    with pytest.raises(ProtocolFileError, match=says) as caught:
        load_protocols(tmp_path)
    assert caught.value.where.line


def test_two_files_with_one_name_and_a_folder_that_is_not_there_are_refused(tmp_path):
    (tmp_path / "a.yaml").write_text(OWN, encoding="utf-8")
    (tmp_path / "b.yaml").write_text(OWN, encoding="utf-8")
    with pytest.raises(ProtocolFileError, match="one name"):
        load_protocols(tmp_path)
    with pytest.raises(ProtocolFileError, match="cannot be read"):
        load_protocols(tmp_path / "nowhere")
    (tmp_path / "b.yaml").write_text("name: [", encoding="utf-8")
    with pytest.raises(ProtocolFileError, match="not YAML"):
        load_protocols(tmp_path)


def test_a_sites_protocol_takes_the_place_of_the_shipped_one_of_its_name(tmp_path):
    (tmp_path / "a.yaml").write_text(OWN.replace("name: island", "name: targeted-lesion"), encoding="utf-8")
    assert load_protocols(tmp_path)["targeted-lesion"].words == "What the island clinic does"
    assert load_protocols()["targeted-lesion"].words != "What the island clinic does"
