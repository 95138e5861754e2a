"""Query SCU: the instances that an archive lists for a study (PS3.4 Annex C, Study Root FIND)."""

from __future__ import annotations

from pydicom.dataset import Dataset
from pynetdicom.association import Association
from pynetdicom.sop_class import StudyRootQueryRetrieveInformationModelFind  # type: ignore[attr-defined]

from gateway.transports.dimse.association import association, lost, refused, service_context
from gateway.transports.dimse.peer import Peer

_PENDING = (0xFF00, 0xFF01)


def find_instances(peer: Peer, study_instance_uid: str) -> frozenset[str]:
    """Return the SOP Instance UIDs that the peer lists for one study.

    The hierarchical search that every SCP supports (PS3.4 C.4.1.3.1.1): first the study's series, then the instances
    of each. "Listed" is not "committed": nothing may be deleted on it alone.

    Raises
    ------
    TemporaryPeerError, PermanentPeerError
        If there is no association, no answer, or a failure; an incomplete list is never returned.
    """
    with association(peer, [service_context(StudyRootQueryRetrieveInformationModelFind)]) as assoc:
        series = _find(peer, assoc, {"QueryRetrieveLevel": "SERIES", "StudyInstanceUID": study_instance_uid})
        found: set[str] = set()
        for one in sorted(series):
            found |= _find(
                peer,
                assoc,
                {
                    "QueryRetrieveLevel": "IMAGE",
                    "StudyInstanceUID": study_instance_uid,
                    "SeriesInstanceUID": one,
                },
            )
        return frozenset(found)


def _find(peer: Peer, assoc: Association, keys: dict[str, str]) -> set[str]:
    wanted = {"SERIES": "SeriesInstanceUID", "IMAGE": "SOPInstanceUID"}[keys["QueryRetrieveLevel"]]
    identifier = Dataset()
    for keyword, value in keys.items():
        setattr(identifier, keyword, value)
    setattr(identifier, wanted, "")
    found: set[str] = set()
    for answer, match in assoc.send_c_find(identifier, StudyRootQueryRetrieveInformationModelFind):
        status = answer.get("Status")
        if status is None:
            raise lost(peer, assoc)
        if status in _PENDING:
            if match is not None and match.get(wanted):
                found.add(str(match.get(wanted)))
        elif status != 0:
            raise refused(peer, "the query", int(status), str(answer.get("ErrorComment", "")))
    return found
