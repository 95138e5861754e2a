"""The demo keeps its promises: what it leaves, what it prints, and that a second run adds nothing."""

from __future__ import annotations

import subprocess

import highdicom.sr
import pytest
from pydicom import dcmread
from pydicom.uid import ExplicitVRLittleEndian

from tests.end_to_end.conftest import DemoRun, archive_files
from tests.programs import require


def test_it_leaves_what_it_says_and_nothing_else(demo: DemoRun) -> None:
    visible = {path.name for path in demo.folder.iterdir() if not path.name.startswith(".")}
    assert visible == {"exam", "archive", "report.pdf", "report.html", "contact-sheet.png"}
    for path in archive_files(demo.folder):
        assert dcmread(path, stop_before_pixels=True).file_meta.TransferSyntaxUID == ExplicitVRLittleEndian


def test_a_second_run_stores_the_same_bytes_and_adds_nothing(demo: DemoRun) -> None:
    assert len(demo.digests_after_first) == 13
    assert demo.digests_after_second == demo.digests_after_first


def test_every_object_was_stored_and_committed(demo: DemoRun) -> None:
    assert len(demo.printed["objects"]) == 13
    assert {row["stored"] for row in demo.printed["objects"]} == {"0000H"}
    assert {row["committed"] for row in demo.printed["objects"]} == {"committed"}
    assert demo.printed["held"] == []


def test_every_object_says_that_it_is_invented(demo: DemoRun) -> None:
    assert {ds[0x0008001C].value for ds in demo.objects} == {"YES"}
    assert "invented" in demo.tables
    assert "invented" in demo.folder.joinpath("report.html").read_text(encoding="utf-8").lower()


def test_corrected_values_meet_the_phantoms_truth(demo: DemoRun) -> None:
    rows = {row["measurement"]: row for row in demo.printed["measurements"]}
    corrected = [row for row in rows.values() if row["corrected"] != "-"]
    assert len(corrected) == 6
    for row in [*corrected, rows["od-mass-height"], rows["od-mass-height-loop"]]:
        assert abs(float(row["difference"].split()[0])) <= 0.01, row


@pytest.mark.parametrize("checker", ["dciodvfy"])
def test_other_peoples_checker_finds_no_error(demo: DemoRun, checker: str) -> None:
    # dciodvfy of dicom3tools: an IOD checker by another author.
    for path in archive_files(demo.folder):
        result = subprocess.run([require(checker), path], capture_output=True, text=True, check=False)
        errors = [line for line in (result.stdout + result.stderr).splitlines() if line.startswith("Error")]
        assert errors == [], path


def test_another_toolkit_reads_the_structured_report(demo: DemoRun) -> None:
    # dsrdump of DCMTK.
    for path in archive_files(demo.folder):
        if dcmread(path, stop_before_pixels=True).Modality != "SR":
            continue
        result = subprocess.run([require("dsrdump"), path], capture_output=True, text=True, check=False)
        assert result.returncode == 0, result.stderr
        assert "Measurement Group" in result.stdout
        # DCMTK's VR checker knows no UTF-8, which is no fault of the report.
        known = "does not support this Specific Character Set: ISO_IR 192"
        assert [line for line in result.stderr.splitlines() if known not in line] == []


def test_an_independent_parser_finds_every_group_site_and_value(demo: DemoRun) -> None:
    # highdicom: its reader of TID 1500 owes nothing to this project's writer.
    (path,) = [path for path in archive_files(demo.folder) if dcmread(path, stop_before_pixels=True).Modality == "SR"]
    report = highdicom.sr.srread(path)
    groups = report.content.get_image_measurement_groups()
    assert {group.tracking_identifier for group in groups} >= {"right eye, mass (od-mass)"}
    values = []
    for group in groups:
        (site,) = group.finding_sites
        assert site.value.value == "81745001"
        assert site.laterality.value in {"24028007", "7771000"}
        values += [(float(m.value), m.unit.value) for m in group.get_measurements()]
    for row in demo.printed["measurements"]:
        shown = [row["displayed"], *([row["corrected"]] if row["corrected"] != "-" else [])]
        for text in shown:
            number, unit = text.split()[:2]
            # Shown to the last digit of its uncertainty; the report holds the whole number.
            half_a_digit = 0.5 * 10.0 ** -len(number.partition(".")[2]) + 1e-9
            assert any(abs(value - float(number)) <= half_a_digit and unit == found for value, found in values), row
