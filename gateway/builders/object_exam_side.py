"""What the exam says of a capture that is a DICOM object already: the attributes that complete or coerce it."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta, timezone
from typing import Final

from pydicom.dataset import Dataset

from gateway.builders.acquisition_context import write_acquisition_context
from gateway.builders.attributes import AttributeWriter
from gateway.builders.frame_times import write_frame_times
from gateway.builders.image_content import write_device_settings, write_general_image, write_position
from gateway.builders.modules import (
    write_device,
    write_image_series,
    write_patient,
    write_request,
    write_series,
    write_sop_common,
    write_study,
)
from gateway.builders.ophthalmic import write_eye_circumstances
from gateway.builders.options import BuildContext
from gateway.builders.region_calibration import PictureSize, write_calibration
from gateway.builders.series import SeriesPlacement
from gateway.model.capture import Capture
from gateway.model.exam import Exam
from gateway.model.media import PixelFacts, StoredObject
from gateway.standard.codes import concept
from gateway.standard.transfer_syntaxes import Loss, Stream, transfer_syntax

US_IMAGE: Final = "1.2.840.10008.5.1.4.1.1.6.1"
US_MULTIFRAME: Final = "1.2.840.10008.5.1.4.1.1.3.1"
_RETIRED: Final[Mapping[str, str]] = {
    "1.2.840.10008.5.1.4.1.1.6": US_IMAGE,
    "1.2.840.10008.5.1.4.1.1.3": US_MULTIFRAME,
}
_ULTRASOUND_COLOURS: Final = frozenset(
    {"MONOCHROME2", "PALETTE COLOR", "RGB", "YBR_FULL", "YBR_FULL_422", "YBR_ICT", "YBR_RCT"}
)
"""Photometric interpretations of ultrasound images (PS3.3 C.8.5.6.1.2)."""
_LOSSY_METHODS: Final = {Stream.JPEG: "ISO_10918_1", Stream.JPEG_LS: "ISO_14495_1", Stream.JPEG_2000: "ISO_15444_1"}
"""Lossy Image Compression Method (PS3.3 C.7.6.1.1.5.1)."""
_TIMES: Final = ("AcquisitionDateTime", "AcquisitionDate", "AcquisitionTime", "ContentDate", "ContentTime")
_LONGEST_COMMENT: Final = 10240


@dataclass(frozen=True, slots=True)
class ObjectCase:
    """One object with everything that decides what is said of it.

    Parameters
    ----------
    header : Dataset
        The object's own attributes.
    """

    exam: Exam
    capture: Capture
    facts: PixelFacts
    stored: StoredObject
    header: Dataset
    placement: SeriesPlacement
    context: BuildContext

    @property
    def target_class(self) -> str:
        """The SOP Class that goes out.

        Ultrasound images stay what they are. A secondary capture becomes an ultrasound image, which has a place for the
        scale and for the view; but one whose pixels no ultrasound image may have, of more than 8 bits or in MONOCHROME1
        (PS3.3 C.8.5.6.1), stays a secondary capture, and so does a single frame in a multi-frame class.
        """
        uid = self.stored.sop_class_uid
        if uid in {US_IMAGE, US_MULTIFRAME}:
            return uid
        if uid in _RETIRED:
            return _RETIRED[uid]
        fits = self.header.BitsAllocated == 8 and str(self.header.PhotometricInterpretation) in _ULTRASOUND_COLOURS
        frames = int(self.header.get("NumberOfFrames") or 0)
        if not fits or frames == 1:
            return uid
        return US_MULTIFRAME if frames > 1 else US_IMAGE

    def states(self, keyword: str) -> bool:
        """Whether the object has an attribute with a value."""
        try:
            return self.header.get(keyword) not in (None, "")
        except Exception:  # a value that breaks its representation stands there all the same
            return True


def exam_side(case: ObjectCase) -> AttributeWriter:
    """Write what the exam says, without identifiers of the instance."""
    exam = _in_the_objects_zone(case)
    path, options = case.placement.capture_path, case.context.options
    w = AttributeWriter()
    write_sop_common(w, exam, case.target_class)
    if not _zone_is_known(case):
        w.leave_out("TimezoneOffsetFromUTC")
    write_patient(w, exam)
    write_study(w, exam, options)
    if exam is not case.exam and not exam.order.requested_procedure.id:
        # One identifier for the study, whichever zone its instances tell their times in.
        w.override("StudyID", case.exam.session.start.strftime("%Y%m%d%H%M"), "rule: session start, no order")
    write_series(w, case.placement.series)
    write_image_series(w, exam)
    write_request(w, exam)
    _write_equipment(w, case)
    w.set("InstanceNumber", case.placement.instance_number, "rule: place in the exam document")
    write_general_image(w, exam, case.capture, case.facts, path)
    _continue_comments(w, case)
    write_device_settings(w, exam.session, case.capture, path)
    write_eye_circumstances(w, case.capture, path)
    size = PictureSize(case.facts.rows, case.facts.columns)
    write_calibration(w, case.capture, size, exam.session.probe.nominal_frequency_mhz, path)
    write_position(w, case.capture, path, options)
    write_acquisition_context(w, case.capture, exam.cautions, path, options)
    if case.target_class == US_MULTIFRAME and not (case.states("FrameTime") or case.states("FrameTimeVector")):
        write_frame_times(w, case.capture, case.facts, path)
    _write_loss(w, case)
    _write_source(w, case)
    return w


def _in_the_objects_zone(case: ObjectCase) -> Exam:
    """Return the exam with its times told in the zone that the object states: one zone holds for all of an object."""
    found = re.fullmatch(r"([+-])(\d\d)(\d\d)", str(case.header.get("TimezoneOffsetFromUTC", "")).strip())
    if not found or int(found[2]) > 14 or int(found[3]) > 59:
        return case.exam
    offset = timedelta(hours=int(found[2]), minutes=int(found[3]))
    zone = timezone(-offset if found[1] == "-" else offset)
    session = case.exam.session
    if session.start.utcoffset() == zone.utcoffset(None):
        return case.exam
    moved = dataclasses.replace(session, start=session.start.astimezone(zone))
    return dataclasses.replace(case.exam, session=moved)


def _zone_is_known(case: ObjectCase) -> bool:
    """Whether the session's offset may be said of the object's times: it has none, or the exam confirmed one of them.

    Otherwise nobody said in which zone the device's clock ran (PS3.3 C.12.1.1.8).
    """
    stated = [keyword for keyword in _TIMES if case.states(keyword)]
    confirmed = case.capture.acquired is not None and any(keyword.startswith("Acq") for keyword in stated)
    return not stated or confirmed or case.states("TimezoneOffsetFromUTC")


def _write_equipment(w: AttributeWriter, case: ObjectCase) -> None:
    """Write the device where the object names none: who created an instance stays its equipment (C.12.1.1.5)."""
    session = case.exam.session
    if session.institution:
        w.set("InstitutionName", session.institution, "session.institution")
    if not case.states("Manufacturer") and not case.states("ManufacturerModelName"):
        write_device(w, session.device)
        if session.station:
            w.set("StationName", session.station, "session.station")


def _continue_comments(w: AttributeWriter, case: ObjectCase) -> None:
    """Let the object's own comments follow the exam's words."""
    if not case.states("ImageComments"):
        return
    own = str(case.header.get("ImageComments", "")).strip(" \0")
    words = f"{w.dataset.ImageComments}\r\n{own}"
    if len(words) > _LONGEST_COMMENT:
        words = words[: _LONGEST_COMMENT - 3] + "..."
    w.override("ImageComments", words, f"{case.placement.capture_path}, cautions, in words; then the object's comments")


def _write_loss(w: AttributeWriter, case: ObjectCase) -> None:
    """Say what the encoding itself proves: pixels in a compression that always loses are lossy (C.7.6.1.1.5).

    Nothing else is said of loss that the object does not say itself.
    """
    for keyword in ("LossyImageCompression", "LossyImageCompressionRatio", "LossyImageCompressionMethod"):
        w.leave_out(keyword)
    syntax = transfer_syntax(case.stored.transfer_syntax_uid)
    if syntax is None or syntax.loss is not Loss.ALWAYS:
        return
    origin = "rule: PS3.3 C.7.6.1.1.5, from the transfer syntax"
    w.set("LossyImageCompression", "01", origin)
    facts = case.facts
    samples = 1 if case.header.get("SamplesPerPixel") == 1 else 3
    plain = facts.rows * facts.columns * samples * facts.frame_count
    ratio = plain / max(case.stored.pixels_end - case.stored.pixels_at, 1)
    w.set("LossyImageCompressionRatio", [round(ratio, 4)], origin)
    w.set("LossyImageCompressionMethod", [_LOSSY_METHODS[syntax.stream]], origin)


def _write_source(w: AttributeWriter, case: ObjectCase) -> None:
    """Name the instance that this one was made from (C.12.4.1.2)."""
    origin = "rule: PS3.3 C.12.4.1.2"
    item = AttributeWriter()
    item.set("ReferencedSOPClassUID", case.stored.sop_class_uid, origin)
    item.set("ReferencedSOPInstanceUID", case.stored.sop_instance_uid, origin)
    item.code("PurposeOfReferenceCodeSequence", concept("source_image_purpose", "image-processing"), origin)
    w.sequence("SourceImageSequence", [item], origin)
