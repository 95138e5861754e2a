"""A site without patient ids, at the command line: held, decided by a human, sent."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from pydicom import dcmread

from tests.end_to_end.conftest import gateway
from tests.end_to_end.visits import draw, still, write_exam

NO_ID = '{name: {alphabetic: "Holm^Maija", ideographic: "洪^真衣"}, birth_date: 1958-03-14, sex: F}'


@pytest.fixture
def settings(tmp_path: Path) -> Path:
    file = tmp_path / "gateway.toml"
    file.write_text(
        '[site]\nissuer = "INVENTED-ISLAND"\ngenerate_patient_ids = true\nsingle_eye_witness = true\n',
        encoding="utf-8",
    )
    return file


def visit(folder: Path, day: int, patient: str = NO_ID) -> Path:
    draw(folder, "od-t3.png", day)
    return write_exam(folder, [still("od-t3")], patient=patient, start=f"2026-03-{day:02}T09:30:00+01:00")


def built_id(out: Path) -> tuple[str, str]:
    found = {(ds.PatientID, ds.IssuerOfPatientID) for ds in map(dcmread, (out / "dicom").iterdir())}
    (one,) = found
    return one


def listed(folder: Path, *options: str) -> dict[str, list[dict[str, str]]]:
    return json.loads(gateway("patient", "list", "--json", *options, cwd=folder))


def test_an_exam_without_identifier_gets_one_and_the_origins_say_so(tmp_path: Path, settings: Path) -> None:
    exam = visit(tmp_path / "one", 2)
    gateway("build", exam, "--out", tmp_path / "out", cwd=tmp_path)
    gateway("build", exam, "--out", tmp_path / "again", cwd=tmp_path)
    patient_id, issuer = built_id(tmp_path / "out")
    assert issuer == "INVENTED-ISLAND"
    assert built_id(tmp_path / "again") == (patient_id, issuer)
    names = {path.name: path.read_bytes() for path in (tmp_path / "out" / "dicom").iterdir()}
    assert {path.name: path.read_bytes() for path in (tmp_path / "again" / "dicom").iterdir()} == names
    origins = json.loads((tmp_path / "out" / "origins.json").read_text())
    for item in origins.values():
        assert "generate_patient_ids" in item["attributes"]["PatientID"]["from"]
        assert item["attributes"]["IssuerOfPatientID"]["from"] == "rule: settings site.issuer"


def test_a_growing_exam_keeps_its_identifier_and_study(tmp_path: Path, settings: Path) -> None:
    exam = visit(tmp_path / "one", 2)
    gateway("build", exam, "--out", tmp_path / "out", cwd=tmp_path)
    draw(exam, "late.png", 9)
    write_exam(exam, [still("od-t3"), still("late", clock_hour=6)], patient=NO_ID, start="2026-03-02T09:30:00+01:00")
    gateway("build", exam, "--out", tmp_path / "more", cwd=tmp_path)
    assert built_id(tmp_path / "more") == built_id(tmp_path / "out")


def test_a_known_name_waits_for_a_human_and_goes_on_as_decided(tmp_path: Path, settings: Path) -> None:
    gateway("build", visit(tmp_path / "one", 2), "--out", tmp_path / "out1", cwd=tmp_path)
    known, _issuer = built_id(tmp_path / "out1")
    printed = gateway("build", visit(tmp_path / "two", 9), "--out", tmp_path / "out2", cwd=tmp_path, code=3)
    assert "error[patient-not-decided]" in printed
    assert "gateway patient same EXAM --as ID" in printed
    assert not any(word in printed for word in ("Holm", "Maija", "洪", "1958", known))
    assert not (tmp_path / "out2" / "dicom").exists()
    (waiting,) = listed(tmp_path)["waiting for a decision"]
    assert waiting["known patient id"] == known
    gateway("patient", "same", tmp_path / "two", "--as", known, "--by", "nurse 1", cwd=tmp_path)
    gateway("build", tmp_path / "two", "--out", tmp_path / "out2", cwd=tmp_path)
    assert built_id(tmp_path / "out2") == (known, "INVENTED-ISLAND")
    gateway("build", visit(tmp_path / "three", 16), "--out", tmp_path / "out3", cwd=tmp_path, code=3)
    made = gateway("patient", "new", tmp_path / "three", cwd=tmp_path)
    gateway("build", tmp_path / "three", "--out", tmp_path / "out3", cwd=tmp_path)
    assert built_id(tmp_path / "out3")[0] in made
    assert built_id(tmp_path / "out3")[0] != known
    decided = listed(tmp_path)["decisions"]
    assert [row["by"] for row in decided if row["decision"] == "same"] == ["nurse 1"]
    assert listed(tmp_path)["waiting for a decision"] == []


def test_names_are_listed_only_where_they_are_asked_for(tmp_path: Path, settings: Path) -> None:
    gateway("build", visit(tmp_path / "one", 2), "--out", tmp_path / "out", cwd=tmp_path)
    plain = gateway("patient", "list", cwd=tmp_path) + json.dumps(listed(tmp_path), ensure_ascii=False)
    assert not any(word in plain for word in ("Holm", "洪", "1958"))
    assert listed(tmp_path, "--names")["known"][0]["names"] == "Holm^Maija = 洪^真衣"


def test_without_the_setting_a_missing_identifier_is_the_error_it_always_was(tmp_path: Path) -> None:
    printed = gateway("build", visit(tmp_path / "one", 2), "--out", tmp_path / "out", cwd=tmp_path, code=3)
    assert "error[field-missing]" in printed
    assert "write id: and its value" in printed
    assert "write issuer: and its value" in printed


def test_a_stated_identifier_needs_its_issuer_also_where_ids_are_made(tmp_path: Path, settings: Path) -> None:
    exam = visit(tmp_path / "one", 2, '{id: "7", name: "Holm^Maija"}')
    printed = gateway("build", exam, "--out", tmp_path / "out", cwd=tmp_path, code=3)
    assert "write issuer: and its value" in printed


def test_two_visits_without_identifier_are_compared_only_when_a_human_said_that_they_are_one_person(
    tmp_path: Path, settings: Path
) -> None:
    one, two = visit(tmp_path / "one", 2), visit(tmp_path / "two", 9)
    assert "patient-not-decided" in gateway("compare", one, two, cwd=tmp_path, code=3)
    known = listed(tmp_path)["known"][0]["patient id"]
    gateway("patient", "same", two, "--as", known, cwd=tmp_path)
    command = [sys.executable, "-m", "gateway", "compare", str(one), str(two)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False, env=os.environ)
    assert "patient-not-decided" not in done.stderr
    assert "different patients" not in done.stderr
