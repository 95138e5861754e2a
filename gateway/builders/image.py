"""One capture becomes one image: US Image for a still, US Multi-frame Image for a loop (PS3.3 A.6, A.7)."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from gateway.builders.acquisition_context import write_acquisition_context
from gateway.builders.attributes import AttributeWriter
from gateway.builders.built import BuiltObject, ObjectKind
from gateway.builders.frame_times import write_frame_times
from gateway.builders.image_content import (
    write_device_settings,
    write_general_image,
    write_image_pixel,
    write_position,
)
from gateway.builders.modules import (
    identify,
    write_equipment,
    write_image_series,
    write_patient,
    write_request,
    write_series,
    write_sop_common,
    write_study,
)
from gateway.builders.ophthalmic import write_eye_circumstances
from gateway.builders.options import BuildContext
from gateway.builders.part10 import write_part10
from gateway.builders.pixel_data import (
    EXPLICIT_VR_LITTLE_ENDIAN,
    JPEG_LS_LOSSLESS,
    still_pixels,
    write_jpeg_ls_loop,
)
from gateway.builders.region_calibration import PictureSize, write_calibration
from gateway.builders.series import SeriesPlacement
from gateway.builders.stored_object import build_from_object
from gateway.builders.uids import KeyPart
from gateway.errors.objects import ValueNotAllowedError
from gateway.model.capture import Capture, CaptureKind
from gateway.model.exam import Exam
from gateway.model.media import FrameSource, ObjectSource, PixelFacts

US_IMAGE_STORAGE: Final = "1.2.840.10008.5.1.4.1.1.6.1"
US_MULTIFRAME_IMAGE_STORAGE: Final = "1.2.840.10008.5.1.4.1.1.3.1"

_VARIANT: Final = "extended"
"""With standard-extended attributes. Another variant of the same capture would have another SOP Instance UID."""


def build_image(
    exam: Exam, capture: Capture, source: FrameSource, placement: SeriesPlacement, context: BuildContext
) -> BuiltObject:
    """Build the image of one capture and write it into the context's folder.

    A still is written in Explicit VR Little Endian, a loop in JPEG-LS Lossless; a DICOM object keeps pixels and
    transfer syntax (see `stored_object`). The same capture with the same pixels
    gives the same file, byte for byte.

    Parameters
    ----------
    placement : SeriesPlacement
        From `series.plan_series`.

    Raises
    ------
    ObjectError
        If the capture cannot be said in DICOM; nothing is left on disk.
    MediaError
        If the source cannot be read.
    """
    if placement.series.eye is not capture.eye:
        raise ValueNotAllowedError(
            "a series of the other eye", where=placement.capture_path, fix="plan the series anew"
        )
    if isinstance(source, ObjectSource):
        return build_from_object(exam, capture, source, placement, context)
    is_loop = capture.kind is CaptureKind.LOOP
    sop_class_uid = US_MULTIFRAME_IMAGE_STORAGE if is_loop else US_IMAGE_STORAGE
    facts = source.facts
    w = AttributeWriter()
    _write_shared_modules(w, exam, placement, context, sop_class_uid)
    _write_capture(w, exam, capture, facts, placement.capture_path)
    write_position(w, capture, placement.capture_path, context.options)
    write_acquisition_context(w, capture, exam.cautions, placement.capture_path, context.options)
    if is_loop:
        write_frame_times(w, capture, facts, placement.capture_path)
    uid = identify(w, exam, _sources(capture, facts), context)
    path = context.path_for(uid)
    sha256, size = _write_with_pixels(w, source, path, f"{placement.capture_path}.files", is_loop=is_loop)
    return BuiltObject(
        kind=ObjectKind.IMAGE,
        sop_class_uid=sop_class_uid,
        sop_instance_uid=uid,
        series_instance_uid=placement.series.series_instance_uid,
        study_instance_uid=str(w.dataset.StudyInstanceUID),
        transfer_syntax_uid=JPEG_LS_LOSSLESS if is_loop else EXPLICIT_VR_LITTLE_ENDIAN,
        path=path,
        sha256=sha256,
        size_bytes=size,
        series_description=placement.series.description,
        series_number=placement.series.series_number,
        instance_number=placement.instance_number,
        capture_id=capture.id,
        eye=capture.eye,
        rows=facts.rows,
        columns=facts.columns,
        frame_count=facts.frame_count,
        attribute_origins=dict(w.origins),
    )


def _write_with_pixels(
    w: AttributeWriter, source: FrameSource, path: Path, origin: str, *, is_loop: bool
) -> tuple[str, int]:
    """Write the file and return its digest and size; a loop goes frame by frame."""
    if is_loop:
        return write_jpeg_ls_loop(w.dataset, source, path)
    w.set("PixelData", still_pixels(source), origin)
    return write_part10(w, path, EXPLICIT_VR_LITTLE_ENDIAN)


def _write_shared_modules(
    w: AttributeWriter, exam: Exam, placement: SeriesPlacement, context: BuildContext, sop_class_uid: str
) -> None:
    write_sop_common(w, exam, sop_class_uid)
    write_patient(w, exam)
    write_study(w, exam, context.options)
    write_series(w, placement.series)
    write_image_series(w, exam)
    write_request(w, exam)
    write_equipment(w, exam, context.options.general_equipment)
    w.set("InstanceNumber", placement.instance_number, "rule: place in the exam document")


def _write_capture(w: AttributeWriter, exam: Exam, capture: Capture, facts: PixelFacts, path: str) -> None:
    write_general_image(w, exam, capture, facts, path)
    write_image_pixel(w, facts, path)
    write_device_settings(w, exam.session, capture, path)
    write_eye_circumstances(w, capture, path)
    size = PictureSize(facts.rows, facts.columns)
    write_calibration(w, capture, size, exam.session.probe.nominal_frequency_mhz, path)


def _sources(capture: Capture, facts: PixelFacts) -> list[KeyPart]:
    kept = [capture.kept.first, capture.kept.last] if capture.kept else None
    return [_VARIANT, facts.source_sha256, kept, list(facts.derivation)]
