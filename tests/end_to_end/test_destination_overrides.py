"""Two archives at once, one of which reads a few attributes otherwise: a variant with UIDs of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydicom import Dataset

from gateway.app import open_gateway, write_origins
from gateway.errors.settings import UnknownDestinationError
from gateway.settings import OverrideSettings
from gateway.transports.dimse.archive import LoopbackArchive
from tests.conformance.oracle import verdict
from tests.end_to_end.visits import Site, changes, draw, still, write_exam

OTHERWISE = (
    OverrideSettings("InstitutionName", "Clinic 12", "the hospital's own name for us"),
    OverrideSettings("StationName", "EYE-12", "its list of stations"),
    OverrideSettings("StudyDescription", "US eye", "its hanging protocols"),
    OverrideSettings("IssuerOfAccessionNumberSequence.LocalNamespaceEntityID", "HOSPITAL", "it has two issuers"),
)
IDENTITY = (
    "PatientID",
    "IssuerOfPatientID",
    "PatientName",
    "StudyInstanceUID",
    "AccessionNumber",
    "StudyDate",
    "InstanceNumber",
    "Modality",
    "ImageLaterality",
    "PixelData",
)


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with (
        LoopbackArchive(tmp_path / "a", ae_title="ARCHIVE") as one,
        LoopbackArchive(tmp_path / "b", ae_title="ARCHIVE") as two,
    ):
        yield Site(tmp_path, {"a": one, "b": two}, overrides={"b": OTHERWISE})


@pytest.fixture
def exam(tmp_path: Path) -> Path:
    folder = tmp_path / "exam"
    draw(folder, "od-t3.png", 1)
    draw(folder, "os-t9.png", 2)
    captures = [still("od-t3"), still("os-t9", eye="left", clock_hour=9)]
    return write_exam(folder, captures, order="{accession_number: A-1}")


def by_what(objects: list[Dataset]) -> dict[tuple[str, int], Dataset]:
    return {(ds.Modality, int(ds.InstanceNumber)): ds for ds in objects}


def references(ds: Dataset) -> set[str]:
    """Return every instance that an object names anywhere."""
    found = {str(ds.ReferencedSOPInstanceUID)} if "ReferencedSOPInstanceUID" in ds else set()
    return found | {uid for element in ds if element.VR == "SQ" for item in element.value for uid in references(item)}


def test_each_archive_gets_its_own_variant_and_nothing_of_the_other(site: Site, exam: Path) -> None:
    for name in ("a", "b"):
        assert {d.state.value for d in site.deliver(exam, name).deliveries} == {"committed"}
    plain, other = by_what(site.objects("a")), by_what(site.objects("b"))
    assert plain.keys() == other.keys()
    assert len(plain) == 4
    for what, ds in other.items():
        mine = plain[what]
        assert ds.SOPInstanceUID != mine.SOPInstanceUID
        assert ds.file_meta.MediaStorageSOPInstanceUID == ds.SOPInstanceUID
        assert ds.SeriesInstanceUID != mine.SeriesInstanceUID
        assert (ds.InstitutionName, ds.StationName, ds.StudyDescription) == ("Clinic 12", "EYE-12", "US eye")
        assert ds.IssuerOfAccessionNumberSequence[0].LocalNamespaceEntityID == "HOSPITAL"
        assert mine.InstitutionName == "Invented Island Eye Clinic"
        assert "IssuerOfAccessionNumberSequence" not in mine
        for keyword in IDENTITY:
            assert ds.get(keyword) == mine.get(keyword), keyword
    # The station that took part stays what it was.
    assert other["SR", 1].ContributingEquipmentSequence[0].StationName == "US-1"


@pytest.mark.parametrize("name", ["a", "b"])
def test_references_stay_within_a_variant(site: Site, exam: Path, name: str) -> None:
    for each in ("a", "b"):
        site.deliver(exam, each)
    objects = site.objects(name)
    here = {str(ds.SOPInstanceUID): ds for ds in objects}
    named = {ds.Modality: references(ds) for ds in objects}
    images = {uid for uid, ds in here.items() if ds.Modality == "US"}
    assert named["SR"] == images
    assert named["DOC"] == images | {str(ds.SOPInstanceUID) for ds in objects if ds.Modality == "SR"}
    (report,) = (ds for ds in objects if ds.Modality == "SR")
    (evidence,) = report.CurrentRequestedProcedureEvidenceSequence
    for series in evidence.ReferencedSeriesSequence:
        for instance in series.ReferencedSOPSequence:
            assert here[instance.ReferencedSOPInstanceUID].SeriesInstanceUID == series.SeriesInstanceUID


def test_the_plain_variant_is_what_it_is_without_any_override(site: Site, exam: Path, tmp_path: Path) -> None:
    with open_gateway(site.settings) as gateway:
        uids = {item.built.sop_instance_uid for item in gateway.prepare(exam).objects}
    site.deliver(exam, "b")
    site.deliver(exam, "a")
    assert {ds.SOPInstanceUID for ds in site.objects("a")} == uids
    before = site.stored("a"), site.stored("b")
    for name in ("a", "b"):
        site.deliver(exam, name)
    assert changes(before[0], site.stored("a")) == changes(before[1], site.stored("b")) == []


def test_two_processes_deliver_to_both_at_once(site: Site, exam: Path, tmp_path: Path) -> None:
    tables = "".join(
        f'[[destinations]]\nname = "{name}"\nae_title = "ARCHIVE"\nhost = "127.0.0.1"\nport = {archive.port}\n'
        for name, archive in site.archives.items()
    )
    override = 'overrides = [{attribute = "InstitutionName", value = "Clinic 12", because = "its own name for us"}]\n'
    head = '[site]\nsingle_eye_witness = true\n[store]\ndata_folder = "data"\n'
    tmp_path.joinpath("gateway.toml").write_text(head + tables + override, encoding="utf-8")
    command = [sys.executable, "-W", "error", "-m", "gateway", "deliver", str(exam), "--to"]
    running = [subprocess.Popen([*command, name], cwd=tmp_path, stdout=subprocess.DEVNULL) for name in ("a", "b")]
    assert [process.wait(timeout=120) for process in running] == [0, 0]
    plain, other = site.objects("a"), site.objects("b")
    assert len(plain) == len(other) == 4
    assert {ds.InstitutionName for ds in plain} == {"Invented Island Eye Clinic"}
    assert {ds.InstitutionName for ds in other} == {"Clinic 12"}
    assert not {ds.SOPInstanceUID for ds in plain} & {ds.SOPInstanceUID for ds in other}


def test_an_order_without_number_has_no_issuer_of_one(site: Site, exam: Path) -> None:
    write_exam(exam, [still("od-t3"), still("os-t9", eye="left", clock_hour=9)])
    site.deliver(exam, "b")
    assert all("IssuerOfAccessionNumberSequence" not in ds for ds in site.objects("b"))


def test_the_origin_of_an_overridden_value_names_destination_and_reason(site: Site, exam: Path, tmp_path: Path) -> None:
    with open_gateway(site.settings) as gateway:
        prepared = gateway.prepare(exam, gateway.destination("b"))
        write_origins(prepared, tmp_path / "origins.json")
    for item in json.loads((tmp_path / "origins.json").read_text()).values():
        origin = item["attributes"]["InstitutionName"]["from"]
        assert origin == "override for destination b: the hospital's own name for us"


def test_what_was_prepared_for_one_is_not_sent_to_the_other(site: Site, exam: Path) -> None:
    with open_gateway(site.settings) as gateway:
        prepared = gateway.prepare(exam, gateway.destination("b"))
        with pytest.raises(UnknownDestinationError):
            gateway.deliver(prepared, gateway.destination("a"))
    assert site.objects("a") == []


def test_an_override_that_comes_later_supersedes_at_that_archive_alone(site: Site, exam: Path) -> None:
    site.overrides = {}
    first = {name: site.deliver(exam, name) for name in ("a", "b")}
    assert first["a"].uids == first["b"].uids
    site.overrides = {"b": OTHERWISE}
    second = site.deliver(exam, "b")
    assert {item.capture_id for item in second.superseded} == {"od-t3", "os-t9"}
    assert site.deliver(exam, "a").superseded == ()
    reports = [ds for ds in site.objects("b") if ds.Modality == "SR"]
    (new,) = [ds for ds in reports if ds.SOPInstanceUID == second.uids["report"]]
    replaced = new.PredecessorDocumentsSequence[0].ReferencedSeriesSequence[0].ReferencedSOPSequence[0]
    assert replaced.ReferencedSOPInstanceUID == first["b"].uids["report"]


def test_another_judge_finds_no_error_in_variants_and_second_versions(site: Site, exam: Path) -> None:
    # dciodvfy of dicom3tools.
    for name in ("a", "b"):
        site.deliver(exam, name)
    plain = {path: verdict(path.read_bytes()).errors for path, _written in site.stored("a").values()}
    draw(exam, "late.png", 3)
    late = [still("late", clock_hour=6)]
    captures = [still("od-t3"), still("os-t9", eye="left", clock_hour=9), *late]
    write_exam(exam, captures, order="{accession_number: A-1}")
    for name in ("a", "b"):
        site.deliver(exam, name)
    tolerated = frozenset().union(*plain.values())
    for name in ("a", "b"):
        for path, _written in site.stored(name).values():
            assert verdict(path.read_bytes()).errors <= tolerated, path
    assert not tolerated
