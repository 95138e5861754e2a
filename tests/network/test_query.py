"""Study Root C-FIND of the archive, asked by DCMTK's findscu and by our own SCU (PS3.4 Annex C)."""

from __future__ import annotations

import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.uid import generate_uid
from pynetdicom import AE, evt

from gateway.errors.peer import PeerBusyError, ServiceRefusedError
from gateway.transports.dimse.association import association, service_context
from gateway.transports.dimse.peer import Peer
from gateway.transports.dimse.query import find_instances
from gateway.transports.dimse.storage_scu import send_files
from tests.network import objects, peers

FIND = "1.2.840.10008.5.1.4.1.2.2.1"


@pytest.fixture
def studies(peer, sent):
    made = [
        objects.new_study(),
        objects.new_study(patient_id="INVENTED-2", patient_name="Ōtani^Aki=大谷^明", study_date="20260401"),
        objects.new_study(patient_id="INVENTED-3", patient_name="HOLMBERG^Ida", study_date="20251231", accession=""),
    ]
    for study in made:
        send_files(peer, [objects.image(sent, study), objects.image(sent, study, seed=2), objects.report(sent, study)])
    return made


def findscu(tmp_path, port, *keys):
    """Return the identifiers that DCMTK's findscu extracts."""
    out = tmp_path / "found"
    out.mkdir(exist_ok=True)
    for old in out.iterdir():
        old.unlink()
    arguments = [argument for key in keys for argument in ("-k", key)]
    result = peers.run("findscu", "-S", "-X", "-od", str(out), *arguments, *peers.to(port))
    assert result.returncode == 0, result.stderr
    return [dcmread(path, force=True) for path in sorted(out.iterdir())]


def found_studies(tmp_path, archive, *keys):
    answers = findscu(tmp_path, archive.port, "QueryRetrieveLevel=STUDY", "StudyInstanceUID", *keys)
    return {str(answer.StudyInstanceUID) for answer in answers}


def uids(studies, *numbers):
    return {studies[number].study_uid for number in numbers}


@pytest.mark.parametrize(
    ("keys", "matching"),
    [
        ((), (0, 1, 2)),
        (("PatientID=INVENTED-2",), (1,)),
        (("PatientID=INVENTED-*",), (0, 1, 2)),
        (("PatientID=INVENTED-?",), (0, 1, 2)),
        (("PatientID=invented-2",), ()),
        (("PatientName=Holm*",), (0, 2)),
        (("PatientName=holm^maija",), (0,)),
        (("PatientName=*a*",), (0, 1, 2)),
        (("StudyDate=20260302",), (0,)),
        (("StudyDate=20260101-20260331",), (0,)),
        (("StudyDate=20260302-",), (0, 1)),
        (("StudyDate=-20260101",), (2,)),
        (("StudyTime=0930",), (0, 1, 2)),
        (("StudyTime=0931-",), ()),
        (("AccessionNumber=A-1001",), (0, 1)),
        (("ModalitiesInStudy=SR",), (0, 1, 2)),
        (("ModalitiesInStudy=CT",), ()),
        (("PatientID=INVENTED-2", "StudyDate=20260101-20260331"), ()),
    ],
)
def test_dcmtk_finds_studies_by_the_matching_rules(archive, studies, tmp_path, keys, matching):
    # PS3.4 C.2.2.2: single value, list of UID, universal, wildcard and range matching.
    assert found_studies(tmp_path, archive, *keys) == uids(studies, *matching)


def test_a_list_of_uids_matches_each(archive, studies, tmp_path):
    both = "\\".join(sorted(uids(studies, 0, 2)))
    answers = findscu(tmp_path, archive.port, "QueryRetrieveLevel=STUDY", f"StudyInstanceUID={both}")
    assert {str(answer.StudyInstanceUID) for answer in answers} == uids(studies, 0, 2)


def test_answers_carry_what_was_asked_for_and_names_survive(archive, studies, tmp_path):
    keys = ("PatientName", "PatientID=INVENTED-2", "NumberOfStudyRelatedInstances", "ModalitiesInStudy")
    (answer,) = findscu(tmp_path, archive.port, "QueryRetrieveLevel=STUDY", *keys)
    assert answer.PatientName == "Ōtani^Aki=大谷^明"
    assert answer.SpecificCharacterSet == "ISO_IR 192"
    assert answer.NumberOfStudyRelatedInstances == 3
    assert list(answer.ModalitiesInStudy) == ["SR", "US"]
    assert answer.RetrieveAETitle == "ARCHIVE"
    assert "StudyDate" not in answer


def test_the_levels_below_are_searched_from_above(archive, studies, tmp_path):
    study = f"StudyInstanceUID={studies[0].study_uid}"
    (series,) = findscu(
        tmp_path,
        archive.port,
        "QueryRetrieveLevel=SERIES",
        study,
        "SeriesInstanceUID",
        "NumberOfSeriesRelatedInstances",
    )
    assert series.SeriesInstanceUID == studies[0].series_uid
    assert series.NumberOfSeriesRelatedInstances == 3
    images = findscu(
        tmp_path,
        archive.port,
        "QueryRetrieveLevel=IMAGE",
        study,
        f"SeriesInstanceUID={studies[0].series_uid}",
        "SOPInstanceUID",
        "SOPClassUID=1.2.840.10008.5.1.4.1.1.6.1",
    )
    assert len(images) == 2


def ask(peer, identifier):
    with association(peer, [service_context(FIND)]) as assoc:
        return [(status.Status, answer) for status, answer in assoc.send_c_find(identifier, FIND)]


def test_a_query_without_the_key_of_the_level_above_does_not_match_the_class(peer, studies):
    identifier = Dataset()
    identifier.QueryRetrieveLevel = "IMAGE"
    identifier.SOPInstanceUID = ""
    assert [status for status, _ in ask(peer, identifier)] == [0xA900]


def test_attributes_that_the_archive_does_not_know_are_admitted(peer, studies):
    # PS3.4 C.4.1.1.4: FF01 says that optional keys were not supported.
    identifier = Dataset()
    identifier.QueryRetrieveLevel = "STUDY"
    identifier.PatientID = "INVENTED-1"
    identifier.EthnicGroup = ""
    (pending, answer), (done, _) = ask(peer, identifier)
    assert (pending, done) == (0xFF01, 0x0000)
    assert "EthnicGroup" not in answer


def test_our_query_lists_the_instances_of_one_study(peer, studies, archive):
    expected = {
        record["SOPInstanceUID"] for record in archive.records() if record["StudyInstanceUID"] == studies[1].study_uid
    }
    assert len(expected) == 3
    assert find_instances(peer, studies[1].study_uid) == expected
    assert find_instances(peer, generate_uid()) == frozenset()


@pytest.mark.parametrize(("status", "kind"), [(0xA900, ServiceRefusedError), (0xA700, PeerBusyError)])
def test_a_refused_query_is_an_error_and_never_an_empty_list(status, kind):
    entity = AE("ARCHIVE")
    entity.add_supported_context(FIND)
    handlers = [(evt.EVT_C_FIND, lambda event: iter([(status, None)]))]
    server = entity.start_server(("127.0.0.1", 0), block=False, evt_handlers=handlers)
    try:
        with pytest.raises(kind, match=f"{status:04X}"):
            find_instances(Peer("refusing", "ARCHIVE", "127.0.0.1", server.server_address[1]), "1.2.3")
    finally:
        entity.shutdown()
