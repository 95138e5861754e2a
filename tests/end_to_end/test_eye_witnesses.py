"""An eye that one source alone names goes no further, whichever way the exam comes in, unless the site says so."""

from __future__ import annotations

import json
from pathlib import Path

from pydicom import dcmread

from tests.end_to_end.conftest import gateway
from tests.end_to_end.small_exam import DOCUMENT, write_small_exam

BARE = DOCUMENT.replace('eyes_stated_by: "Lind^Tove"\n', "")
ONE_STATED = BARE.replace("    eye: left\n", "    eye: left\n    eye_stated_by: Lind^Tove\n")
BY_NAME = BARE.replace(
    "    eye: left\n", "    eye: left\n    eye_witnesses: [{source: file-name, eye: left, words: OS, at: os-t9.png}]\n"
)


def build(folder: Path, *more: str | Path, code: int = 0) -> dict:
    printed = gateway("build", folder, "--out", folder.parent / "out", "--json", *more, cwd=folder.parent, code=code)
    return json.loads(printed)


def test_only_captures_of_settled_eye_are_built_and_the_others_say_what_to_do(tmp_path: Path) -> None:
    said = build(write_small_exam(tmp_path / "exam", ONE_STATED), code=1)
    assert [(row["capture"], row["eye rests on"]) for row in said["captures"]] == [
        ("os-t9", "stated by Tove Lind; record agrees")
    ]
    held = [line for line in said["held"] if line.startswith("held: od-")]
    assert len(held) == 2
    assert all(
        "one source alone names the eye" in line and "gateway explain single-eye-witness" in line for line in held
    )
    images = [dcmread(path) for path in (tmp_path / "out" / "dicom").iterdir()]
    assert {ds.ImageLaterality for ds in images if ds.Modality == "US"} == {"L"}


def test_a_file_name_that_agrees_lets_a_capture_through_and_the_origins_tell_both(tmp_path: Path) -> None:
    build(write_small_exam(tmp_path / "exam", BY_NAME), code=1)
    origins = json.loads((tmp_path / "out" / "origins.json").read_text(encoding="utf-8"))
    (eye,) = [item["eye"] for item in origins.values() if item["object"] == "os-t9"]
    assert eye["rests_on"] == "record and file name agree"
    assert [(w["source"], w["words"], w["counted"]) for w in eye["witnesses"]] == [
        ("record", "left", True),
        ("file-name", "OS", True),
    ]
    assert eye["witnesses"][1]["at"] == "os-t9.png"


def test_where_nothing_is_settled_the_exam_stops_with_every_reason(tmp_path: Path) -> None:
    folder = write_small_exam(tmp_path / "exam", BARE)
    printed = gateway("build", folder, "--out", tmp_path / "out", cwd=tmp_path, code=3)
    assert printed.count("error[single-eye-witness]") == 3
    assert "exam.yaml:13:10 (captures[0].eye)" in printed
    assert not list((tmp_path / "out").glob("dicom/*"))
    printed = gateway("compare", folder, folder, cwd=tmp_path, code=3)
    assert "error[single-eye-witness]" in printed


def test_the_site_or_the_command_may_decide_and_every_report_then_shows_one_witness(tmp_path: Path) -> None:
    folder = write_small_exam(tmp_path / "exam", BARE)
    (tmp_path / "gateway.toml").write_text("[site]\nsingle_eye_witness = true\n", encoding="utf-8")
    by_site = build(folder)
    (tmp_path / "gateway.toml").unlink()
    by_command = build(folder, "--single-eye-witness")
    for said in (by_site, by_command):
        assert {row["eye rests on"] for row in said["captures"]} == {"one witness: record"}
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert page.count("one witness: record</b>") == 3
    reports = [path for path in (tmp_path / "out" / "dicom").iterdir() if dcmread(path).Modality == "SR"]
    assert [path.read_bytes().count(b"one witness: record") for path in reports] == [3]


def test_two_sources_that_disagree_hold_the_capture_also_where_one_will_do(tmp_path: Path) -> None:
    folder = write_small_exam(tmp_path / "exam", BY_NAME.replace("eye: left, words: OS", "eye: right, words: OD"))
    said = build(folder, "--single-eye-witness", code=1)
    (held,) = [line for line in said["held"] if line.startswith("held: os-t9")]
    assert "left here, but right by file name (OD) at os-t9.png" in held


def test_a_protocol_of_the_site_gives_positions_and_judges(tmp_path: Path) -> None:
    own = tmp_path / "protocols"
    own.mkdir()
    (own / "island.yaml").write_text(
        "format: eye-ultrasound-protocol/1\nname: island\nwords: Two pictures\nsource: common practice\n"
        "checked: memory\nsteps:\n"
        "  - {id: T6, words: below, eye: each, scan: transverse, clock_hour: 6, zones: [equator], required: yes}\n"
        "rule_sets:\n  - name: two\n    words: below and above\n    judges: eye\n    source: common practice\n"
        "    checked: memory\n    needs:\n      - {words: below, scan: transverse, clock_hour: 6}\n"
        "      - {words: above, scan: transverse, clock_hour: 12}\n",
        encoding="utf-8",
    )
    (tmp_path / "gateway.toml").write_text(f'[site]\nprotocols = "{own}"\n', encoding="utf-8")
    document = DOCUMENT.replace("session:\n", "session:\n  protocol: island\n").replace(
        "    eye: left\n    scan: transverse\n    clock_hour: 9\n", "    eye: left\n    protocol_step: T6\n"
    )
    said = build(write_small_exam(tmp_path / "exam", document))
    assert "left eye: incomplete, missing: above (by two of island)" in said["coverage"]
    assert "right eye: incomplete, missing: below; above (by two of island)" in said["coverage"]
    row = next(row for row in said["captures"] if row["capture"] == "os-t9")
    assert (row["scan"], row["clock hour"], row["zone"]) == ("transverse", "6 o'clock", "equator")
    origins = json.loads((tmp_path / "out" / "origins.json").read_text(encoding="utf-8"))
    (image,) = [item for item in origins.values() if item["object"] == "os-t9"]
    assert image["position"] == "scan, clock hour, zone from protocol step T6 of island"
    places = {attribute["at"] for attribute in image["attributes"].values() if "at" in attribute}
    assert "protocol step T6 of island" in places
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "Position: scan, clock hour, zone from protocol step T6 of island" in page
