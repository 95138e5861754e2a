"""Exams that grow: late captures, second visits, corrected facts, to a real archive with commitment."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydicom import Dataset

from gateway.errors.growing import CaptureLeftOutError, SameCaptureTwiceError, SamePictureTwoEyesError
from gateway.errors.patients import StudyOfAnotherPatientError
from gateway.transports.dimse.archive import LoopbackArchive
from tests.end_to_end.visits import Site, changes, draw, still, write_exam
from tests.programs import require

DCMTK_SR = "1.2.840.10008.5.1.4.1.1.88.33"


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with LoopbackArchive(tmp_path / "a", ae_title="ARCHIVE") as archive:
        yield Site(tmp_path, {"a": archive})


@pytest.fixture
def exam(tmp_path: Path) -> Path:
    folder = tmp_path / "exam"
    draw(folder, "od-t3.png", 1)
    draw(folder, "os-t9.png", 2)
    return write_exam(folder, [still("od-t3"), still("os-t9", eye="left", clock_hour=9)])


def of(objects: list[Dataset], modality: str) -> list[Dataset]:
    return [ds for ds in objects if ds.Modality == modality]


def predecessor(ds: Dataset) -> tuple[str, str, str]:
    (study,) = ds.PredecessorDocumentsSequence
    (series,) = study.ReferencedSeriesSequence
    (instance,) = series.ReferencedSOPSequence
    assert instance.ReferencedSOPClassUID == ds.SOPClassUID
    return study.StudyInstanceUID, series.SeriesInstanceUID, instance.ReferencedSOPInstanceUID


def test_a_late_capture_goes_into_the_study_and_series_with_a_new_version_of_each_report(
    site: Site, exam: Path
) -> None:
    first = site.deliver(exam)
    before = site.stored()
    # In the middle of the document, where its place would renumber what was sent.
    draw(exam, "od-t6.png", 3)
    write_exam(exam, [still("od-t3"), still("od-t6", clock_hour=6), still("os-t9", eye="left", clock_hour=9)])
    second = site.deliver(exam)
    written = changes(before, site.stored())
    assert sorted(ds.Modality for ds in written) == ["DOC", "SR", "US"]
    assert {d.state.value for d in second.deliveries} == {"committed"}
    (image,) = of(written, "US")
    old = next(ds for ds in site.objects() if ds.SOPInstanceUID == first.uids["od-t3"])
    assert (image.StudyInstanceUID, image.SeriesInstanceUID) == (old.StudyInstanceUID, old.SeriesInstanceUID)
    assert (old.InstanceNumber, image.InstanceNumber) == (1, 3)
    for kind, modality in (("report", "SR"), ("document", "DOC")):
        (new,) = of(written, modality)
        assert new.InstanceNumber == 2
        assert predecessor(new) == (new.StudyInstanceUID, new.SeriesInstanceUID, first.uids[kind])
        assert new.SOPInstanceUID != first.uids[kind]
    assert of(written, "SR")[0].CompletionFlag == "COMPLETE"


def test_the_same_exam_a_third_time_sends_nothing_new(site: Site, exam: Path) -> None:
    site.deliver(exam)
    draw(exam, "od-t6.png", 3)
    write_exam(exam, [still("od-t6", clock_hour=6), still("od-t3"), still("os-t9", eye="left", clock_hour=9)])
    second = site.deliver(exam)
    before = site.stored()
    third = site.deliver(exam)
    assert changes(before, site.stored()) == []
    assert third.uids == second.uids
    shutil.move(exam / "od-t3.png", exam / "export-0001.png")
    write_exam(
        exam,
        [
            still("od-t6", clock_hour=6),
            still("od-t3", file="export-0001.png"),
            still("os-t9", eye="left", clock_hour=9),
        ],
    )
    assert site.deliver(exam).uids == second.uids
    assert changes(before, site.stored()) == []


def test_the_archive_lists_one_study_with_series_that_grew(site: Site, exam: Path, tmp_path: Path) -> None:
    # findscu of DCMTK, as another toolkit's reader of what the archive holds.
    findscu = require("findscu")
    site.deliver(exam)
    draw(exam, "od-t6.png", 3)
    write_exam(exam, [still("od-t3"), still("os-t9", eye="left", clock_hour=9), still("od-t6", clock_hour=6)])
    site.deliver(exam)
    command = [findscu, "-S", "-aec", "ARCHIVE", "-k", "QueryRetrieveLevel=STUDY", "-k", "StudyInstanceUID"]
    command += ["-k", "NumberOfStudyRelatedInstances", "127.0.0.1", str(site.archives["a"].port)]
    result = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=True, timeout=60)
    answers = [line for line in (result.stdout + result.stderr).splitlines() if "(0020,000d) UI [2.25" in line]
    assert len(answers) == 1
    series = {ds.SeriesInstanceUID for ds in site.objects()}
    assert len(series) == 4  # right stills, left stills, SR, DOC
    assert len(site.objects()) == 3 + 2 + 2


def test_corrected_facts_give_a_new_instance_and_name_the_old_one_as_superseded(site: Site, exam: Path) -> None:
    first = site.deliver(exam)
    before = site.stored()
    write_exam(exam, [still("od-t3", clock_hour=3.5), still("os-t9", eye="left", clock_hour=9)])
    second = site.deliver(exam)
    written = changes(before, site.stored())
    assert sorted(ds.Modality for ds in written) == ["DOC", "SR", "US"]
    (image,) = of(written, "US")
    assert image.InstanceNumber == 1
    (replaced,) = second.superseded
    assert (replaced.capture_id, replaced.sop_instance_uid) == ("od-t3", first.uids["od-t3"])
    assert replaced.replaced_by == image.SOPInstanceUID == second.uids["od-t3"]
    assert second.uids["os-t9"] == first.uids["os-t9"]
    # Changed back: the first instance holds again and is not sent again; the report is a third one.
    before = site.stored()
    write_exam(exam, [still("od-t3"), still("os-t9", eye="left", clock_hour=9)])
    third = site.deliver(exam)
    written = changes(before, site.stored())
    assert sorted(ds.Modality for ds in written) == ["DOC", "SR"]
    (replaced,) = third.superseded
    assert (replaced.sop_instance_uid, replaced.replaced_by) == (second.uids["od-t3"], first.uids["od-t3"])
    (report,) = of(written, "SR")
    assert (report.InstanceNumber, predecessor(report)[2]) == (3, second.uids["report"])


def test_what_was_replaced_before_it_was_sent_never_goes_out_and_is_nobodys_predecessor(
    site: Site, exam: Path, tmp_path: Path
) -> None:
    archive = site.archives["a"]
    closed = Site(site.folder, {"a": archive})
    with LoopbackArchive(tmp_path / "elsewhere", ae_title="ARCHIVE") as gone:
        port = gone
    closed.archives["a"] = port  # nobody listens there any more
    left = closed.deliver(exam)
    assert {d.state.value for d in left.deliveries} == {"refused"}
    write_exam(exam, [still("od-t3", clock_hour=3.5), still("os-t9", eye="left", clock_hour=9)])
    sent = site.deliver(exam)
    assert {d.state.value for d in sent.deliveries} == {"committed"}
    assert {ds.SOPInstanceUID for ds in site.objects()} == set(sent.uids.values())


def test_a_capture_that_was_left_out_makes_the_report_partial_and_is_said(site: Site, exam: Path) -> None:
    site.deliver(exam)
    before = site.stored()
    write_exam(exam, [still("od-t3")])
    second = site.deliver(exam)
    (part,) = second.prepared.held
    assert part.name == "os-t9"
    assert isinstance(part.reason, CaptureLeftOutError)
    (report,) = of(changes(before, site.stored()), "SR")
    assert report.CompletionFlag == "PARTIAL"
    assert "os-t9" in report.CompletionFlagDescription


def test_one_export_under_two_names_is_one_capture_and_both_names_are_said(site: Site, exam: Path) -> None:
    shutil.copyfile(exam / "od-t3.png", exam / "export-0002.png")
    write_exam(exam, [still("od-t3"), still("again", file="export-0002.png", clock_hour=6)])
    first = site.deliver(exam)
    (part,) = first.prepared.held
    assert isinstance(part.reason, SameCaptureTwiceError)
    assert part.name == "again"
    assert "od-t3 (od-t3.png)" in str(part.reason)
    assert "again (export-0002.png)" in str(part.reason)
    assert part.reason.where.line is not None
    assert len(of(site.objects(), "US")) == 1


def test_an_export_that_comes_again_under_another_id_is_recognised_as_sent(site: Site, exam: Path) -> None:
    site.deliver(exam)
    before = site.stored()
    shutil.copyfile(exam / "od-t3.png", exam / "export-0003.png")
    draw(exam, "od-t6.png", 3)
    write_exam(
        exam,
        [
            still("late", file="export-0003.png"),
            still("od-t3", file="od-t6.png", clock_hour=6),
            still("os-t9", eye="left", clock_hour=9),
        ],
    )
    second = site.deliver(exam)
    (part,) = second.prepared.held
    assert part.name == "late"
    assert "sent as od-t3" in str(part.reason)
    assert len(of(changes(before, site.stored()), "US")) == 1


def test_one_picture_named_for_both_eyes_is_sent_for_neither(site: Site, exam: Path) -> None:
    shutil.copyfile(exam / "od-t3.png", exam / "other.png")
    write_exam(
        exam,
        [still("od-t3"), still("os-t3", file="other.png", eye="left"), still("os-t9", eye="left", clock_hour=9)],
    )
    first = site.deliver(exam)
    assert [part.name for part in first.prepared.held] == ["od-t3", "os-t3"]
    assert all(isinstance(part.reason, SamePictureTwoEyesError) for part in first.prepared.held)
    assert [ds.ImageLaterality for ds in of(site.objects(), "US")] == ["L"]


ORDER = "{accession_number: A-1, study_instance_uid: 2.25.4711}"


def test_a_second_visit_on_a_stated_study_is_appended_with_a_report_of_its_own(site: Site, tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    draw(one, "od-t3.png", 1)
    draw(two, "od-t3.png", 2)
    write_exam(one, [still("od-t3")], order=ORDER)
    write_exam(two, [still("od-t3")], order=ORDER, start="2026-03-09T14:00:00+01:00")
    site.deliver(one)
    before = site.stored()
    second = site.deliver(two)
    written = changes(before, site.stored())
    assert {ds.StudyInstanceUID for ds in site.objects()} == {"2.25.4711"}
    # One date of one study in all its instances (PS3.3 C.7.2.1), whichever visit they are of.
    assert {(ds.StudyDate, ds.StudyTime) for ds in site.objects()} == {("20260302", "093000")}
    images = of(site.objects(), "US")
    assert len({ds.SeriesInstanceUID for ds in images}) == 1
    assert sorted(ds.InstanceNumber for ds in images) == [1, 2]
    (report,) = of(written, "SR")
    assert "PredecessorDocumentsSequence" not in report
    assert report.InstanceNumber == 2
    assert second.prepared.held == ()
    # The first visit is still what it was.
    before = site.stored()
    site.deliver(one)
    assert changes(before, site.stored()) == []


def test_a_second_visit_on_one_order_without_a_stated_study_is_a_study_of_its_own_and_is_said(
    site: Site, tmp_path: Path
) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    draw(one, "od-t3.png", 1)
    draw(two, "od-t3.png", 2)
    write_exam(one, [still("od-t3")], order="{accession_number: A-1}")
    write_exam(two, [still("od-t3")], order="{accession_number: A-1}", start="2026-03-09T14:00:00+01:00")
    first = site.deliver(one)
    second = site.deliver(two)
    assert first.prepared.study_instance_uid != second.prepared.study_instance_uid
    assert first.prepared.notes == ()
    assert "a study of its own" in second.prepared.notes[0]
    assert {ds.AccessionNumber for ds in site.objects()} == {"A-1"}


def test_a_study_of_another_patient_takes_nothing(site: Site, tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    draw(one, "od-t3.png", 1)
    draw(two, "od-t3.png", 2)
    site.deliver(write_exam(one, [still("od-t3")], order=ORDER))
    other = '{id: "INV-2", issuer: "INVENTED", name: "Berg^Nora"}'
    write_exam(two, [still("od-t3")], order=ORDER, patient=other)
    before = site.stored()
    with pytest.raises(StudyOfAnotherPatientError) as caught:
        site.deliver(two)
    assert "INV" not in str(caught.value).replace(str(tmp_path), "")
    assert changes(before, site.stored()) == []
