"""The folders of three invented clinics, by their mappings, all the way to an archive on loopback."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import pytest
from pydicom import Dataset, dcmread

from gateway.shipped import shipped_path
from gateway.transports.dimse.archive import LoopbackArchive
from tests.conformance.oracle import verdict
from tests.end_to_end.conftest import gateway

FIXTURES = Path(__file__).parents[2] / "fixtures" / "sources"


@dataclass(frozen=True)
class Clinic:
    """A folder, its mapping, and what must come of each picture: eye, clock hour, frames."""

    folder: str
    mapping: str
    pictures: dict[str, tuple[str, str, int]]
    patient: tuple[str, str]

    @property
    def arguments(self) -> list[str | Path]:
        return [FIXTURES / self.folder, "--mapping", shipped_path(f"mappings/sources/{self.mapping}.yaml")]


BITMAPS = Clinic(
    "bitmaps/20260311_Besuch1",
    "invented-bitmap-clinic",
    {
        "OD_L9_1": ("R", "9 o'clock", 1),
        "OD_T3_1": ("R", "3 o'clock", 1),
        "OD_T9_1": ("R", "9 o'clock", 1),
        "OS_T6_1": ("L", "6 o'clock", 1),
    },
    ("H-0042", "Sørensen^Käthe"),
)
MOVIES = Clinic(
    "movies",
    "invented-movie-clinic",
    # Counter-clockwise from 3 o'clock: 90 degrees is 12, 180 is 9, 315 is half past 4.
    {"li_090": ("L", "12 o'clock", 6), "li_315": ("L", "4:30 o'clock", 8), "re_180": ("R", "9 o'clock", 8)},
    ("B-311", "Vidal^Aurel"),
)
OLD_DEVICE = Clinic(
    "old-device",
    "invented-old-device",
    {
        "IMG_L_0003": ("L", "1:30 o'clock", 1),
        "IMG_R_0001": ("R", "9 o'clock", 1),
        "IMG_R_0002": ("R", "-", 1),
    },
    ("L-9003", "Lindqvist^Ebba"),
)
CLINICS = pytest.mark.parametrize("clinic", [BITMAPS, MOVIES, OLD_DEVICE], ids=lambda clinic: clinic.mapping)


@CLINICS
def test_a_folder_becomes_clean_objects(clinic: Clinic, tmp_path: Path) -> None:
    printed = json.loads(gateway("build", *clinic.arguments, "--out", tmp_path / "out", "--json", cwd=tmp_path))
    assert printed["held"] == []
    assert {row["capture"]: row["clock hour"] for row in printed["captures"]} == {
        name: hour for name, (_, hour, _) in clinic.pictures.items()
    }
    assert "0 with findings" in gateway("check", tmp_path / "out" / "dicom")
    files = sorted((tmp_path / "out" / "dicom").iterdir())
    assert len(files) == len(clinic.pictures) + 2
    for file in files:
        assert verdict(file.read_bytes()).errors == frozenset(), file.name
    images = [ds for ds in map(dcmread, files) if ds.Modality == "US"]
    assert sorted((ds.ImageLaterality, int(ds.get("NumberOfFrames", 1))) for ds in images) == sorted(
        (eye, frames) for eye, _, frames in clinic.pictures.values()
    )
    assert {(ds.PatientID, str(ds.PatientName)) for ds in images} == {clinic.patient}


@CLINICS
def test_a_folder_is_delivered_and_committed(clinic: Clinic, tmp_path: Path) -> None:
    with LoopbackArchive(tmp_path / "archive", ae_title="ARCHIVE") as archive:
        settings = tmp_path / "gateway.toml"
        settings.write_text(
            f'[site]\nmapping = "{clinic.arguments[2]}"\n'
            f'[[destinations]]\nname = "here"\nae_title = "ARCHIVE"\nhost = "127.0.0.1"\nport = {archive.port}\n',
            encoding="utf-8",
        )
        printed = gateway("deliver", FIXTURES / clinic.folder, "--settings", settings, cwd=tmp_path)
    in_heading = 1
    assert printed.count("committed") == len(clinic.pictures) + 2 + in_heading
    stored = [dcmread(path) for path in (tmp_path / "archive").rglob("*") if path.is_file()]
    assert sum(ds.Modality == "US" for ds in stored) == len(clinic.pictures)


def explained(clinic: Clinic, folder: Path, name: str) -> dict[str, dict[str, object]]:
    arguments = ["mapping", "explain", *clinic.arguments, "--of", name, "--json"]
    printed = json.loads(gateway(*arguments, cwd=folder))
    (shown,) = printed["objects"]
    return {row["attribute"]: row for row in shown["attributes"]}


def test_each_attribute_is_told_with_its_source_rule_reason_and_section(tmp_path: Path) -> None:
    rows = explained(BITMAPS, tmp_path, "OD_L9_1")
    eye = rows["ImageLaterality"]
    assert (eye["value"], eye["from"], eye["section"]) == ("R", "captures[0].eye", "PS3.3 C.7.6.1")
    assert eye["sources"] == [
        {"source": "record liste Auge", "at": "liste.csv:3:72"},
        {"source": "file name auge", "at": "OD_L9_1.bmp"},
    ]
    assert "two people write it" in str(eye["because"])
    mapping = shipped_path("mappings/sources/invented-bitmap-clinic.yaml").read_text(encoding="utf-8").splitlines()
    line = int(str(eye["rule"]).rsplit(":", 1)[1])
    assert "to: captures.eye" in mapping[line - 1]
    assert rows["PatientName"]["value"] == "Sørensen^Käthe"
    assert rows["PatientName"]["section"] == "PS3.3 C.7.1.1"
    assert rows["ReferringPhysicianName"]["sources"][0]["source"] == "site default"  # type: ignore[index]
    region = rows["SequenceOfUltrasoundRegions[1].PhysicalDeltaX"]
    assert (region["section"], region["from"]) == ("PS3.3 C.8.5.5", "captures[0].calibration.mm_per_pixel.x")


def test_what_is_printed_says_the_same_and_an_unknown_object_names_those_there_are(tmp_path: Path) -> None:
    table = gateway("mapping", "explain", *OLD_DEVICE.arguments, cwd=tmp_path)
    assert "PatientID" in table
    assert "L-9003" in table
    assert "DICOM attribute" in table
    wrong = gateway("mapping", "explain", *OLD_DEVICE.arguments, "--of", "x", cwd=tmp_path, code=2)
    assert "IMG_R_0001" in wrong


def test_a_mapping_is_checked_with_every_problem_at_its_line(tmp_path: Path) -> None:
    good = shipped_path("mappings/sources/invented-movie-clinic.yaml")
    assert "no problems" in gateway("mapping", "check", good)
    bad = tmp_path / "site.yaml"
    text = (
        good.read_text(encoding="utf-8")
        .replace("to: captures.eye", "to: captures.ey")
        .replace("file_name: eye", "file_name: ey")
    )
    bad.write_text(text, encoding="utf-8")
    printed = gateway("mapping", "check", bad, code=3)
    assert "did you mean captures.eye?" in printed
    assert "did you mean eye?" in printed
    assert "2 problems" in printed
    found = json.loads(gateway("mapping", "check", bad, "--json", code=3))["problems"]
    assert [problem["code"] for problem in found] == ["mapping-rule", "mapping-rule"]
    refused = gateway("build", FIXTURES / "movies", "--out", tmp_path / "o", "--mapping", bad, cwd=tmp_path, code=3)
    assert "did you mean captures.eye?" in refused


def test_what_no_destination_may_get_otherwise_is_found_when_the_mapping_is_checked(tmp_path: Path) -> None:
    good = shipped_path("mappings/sources/invented-movie-clinic.yaml").read_text(encoding="utf-8")
    bad = tmp_path / "site.yaml"
    bad.write_text(
        good + "destinations:\n  - {destination: a, attribute: PatientID, value: x, because: y}\n", encoding="utf-8"
    )
    assert "PatientID" in gateway("mapping", "check", bad, code=3)


def test_a_destination_gets_what_the_mapping_says_of_it(tmp_path: Path) -> None:
    good = shipped_path("mappings/sources/invented-movie-clinic.yaml").read_text(encoding="utf-8")
    own = tmp_path / "site.yaml"
    said = "  - {destination: here, attribute: InstitutionName, value: The Other Name, because: they asked}\n"
    own.write_text(good + "destinations:\n" + said, encoding="utf-8")
    settings = tmp_path / "gateway.toml"
    settings.write_text(
        '[[destinations]]\nname = "here"\nae_title = "A"\nhost = "127.0.0.1"\nport = 1\n', encoding="utf-8"
    )
    build = ["build", FIXTURES / "movies", "--mapping", own, "--settings", settings]
    gateway(*build, "--out", tmp_path / "for", "--to", "here", cwd=tmp_path)
    gateway(*build, "--out", tmp_path / "plain", cwd=tmp_path)

    def names(folder: str) -> set[str]:
        objects: list[Dataset] = [dcmread(path) for path in (tmp_path / folder / "dicom").iterdir()]
        return {str(ds.get("InstitutionName", "")) for ds in objects}

    assert names("for") == {"The Other Name"}
    assert names("plain") == {""}
    own.write_text(own.read_text(encoding="utf-8").replace("destination: here", "destination: hre"), encoding="utf-8")
    assert "did you mean here?" in gateway(*build, "--out", tmp_path / "x", cwd=tmp_path, code=3)


def test_the_language_and_its_conversions_are_explained(tmp_path: Path) -> None:
    text = gateway("mapping", "--help")
    for word in ("format: eye-ultrasound-source/1", "if_missing", "said_by", "{file_name: x}", "exams:"):
        assert word in text
    known = json.loads(gateway("mapping", "conversions", "--json"))["conversions"]
    assert {"eye", "clock_hour", "date_time", "number"} <= {row["name"] for row in known}
    assert "zero_hour" in gateway("mapping", "conversions")


def test_a_mapping_beside_an_exam_document_is_refused_and_not_passed_over(tmp_path: Path) -> None:
    (tmp_path / "exam.yaml").write_text("format: eye-ultrasound-exam/1\n", encoding="utf-8")
    printed = gateway(
        "build", tmp_path, "--out", tmp_path / "o", "--mapping", BITMAPS.arguments[2], cwd=tmp_path, code=3
    )
    assert "there is an exam document already" in printed


def test_several_exams_of_a_folder_are_built_one_by_one(tmp_path: Path) -> None:
    visit = tmp_path / "20260311_zwei"
    visit.mkdir()
    source = FIXTURES / BITMAPS.folder
    for path in source.iterdir():
        (visit / path.name).write_bytes(path.read_bytes())
    table = (visit / "liste.csv").read_bytes().decode("windows-1252").splitlines()
    table[-1] = table[-1].replace("H-0042;Sørensen;Käthe", "H-0043;Sørensen;Käthe")
    (visit / "liste.csv").write_bytes("\n".join(table).encode("windows-1252"))
    site = tmp_path / "site.yaml"
    text = Path(BITMAPS.arguments[2]).read_text(encoding="utf-8")
    refused = gateway("build", visit, "--out", tmp_path / "o", "--mapping", BITMAPS.arguments[2], cwd=tmp_path, code=3)
    assert "patient.id" in refused
    assert "H-0043" not in refused
    site.write_text(text + "exams: {by: {record: liste, field: PatNr}}\n", encoding="utf-8")
    printed = json.loads(gateway("build", visit, "--out", tmp_path / "out", "--mapping", site, "--json", cwd=tmp_path))
    assert sorted(len(exam["captures"]) for exam in printed["exams"]) == [1, 3]
    built = [dcmread(path) for path in (tmp_path / "out").rglob("*.dcm")]
    assert {ds.PatientID for ds in built} == {"H-0042", "H-0043"}
