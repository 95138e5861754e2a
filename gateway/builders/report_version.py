"""Versions of a report: each new one has its own SOP Instance UID and names the one it replaces (PS3.3 C.17.2)."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence

from gateway.builders.attributes import AttributeWriter
from gateway.builders.options import BuildContext, Predecessor, ReportVersion
from gateway.builders.part10 import dataset_bytes
from gateway.builders.uids import KeyPart


def write_version(w: AttributeWriter, sources: Sequence[KeyPart], context: BuildContext) -> ReportVersion:
    """Write Instance Number and, in a document that replaces another, Predecessor Documents Sequence.

    To be called when everything else is written but what `modules.identify` adds.

    Parameters
    ----------
    sources : sequence
        What the dataset does not show, as for `modules.identify`.

    Returns
    -------
    ReportVersion
        What was written.
    """
    content = hashlib.sha256(json.dumps(list(sources)).encode() + dataset_bytes(w.dataset)).hexdigest()
    version = context.versions.version(str(w.dataset.SOPClassUID), content)
    origin = "rule: number of the version of this report"
    w.set("InstanceNumber", version.instance_number, origin)
    if version.predecessor is not None:
        w.sequence(
            "PredecessorDocumentsSequence",
            [_in_study(str(w.dataset.StudyInstanceUID), version.predecessor)],
            "rule: PS3.3 C.17.2, the version that this one replaces",
        )
    return version


def _in_study(study_instance_uid: str, predecessor: Predecessor) -> AttributeWriter:
    """Return a reference by study, series and instance (PS3.3 Table C.17-3)."""
    origin = "rule: PS3.3 C.17.2, the version that this one replaces"
    instance = AttributeWriter()
    instance.set("ReferencedSOPClassUID", predecessor.sop_class_uid, origin)
    instance.set("ReferencedSOPInstanceUID", predecessor.sop_instance_uid, origin)
    series = AttributeWriter()
    series.set("SeriesInstanceUID", predecessor.series_instance_uid, origin)
    series.sequence("ReferencedSOPSequence", [instance], origin)
    study = AttributeWriter()
    study.set("StudyInstanceUID", study_instance_uid, origin)
    study.sequence("ReferencedSeriesSequence", [series], origin)
    return study
