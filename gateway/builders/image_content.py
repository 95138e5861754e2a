"""What one image says of itself: General Image, Image Pixel and US Image (PS3.3 C.7.6.1, C.7.6.3, C.8.5.6)."""

from __future__ import annotations

from typing import Final

from gateway.builders.attributes import AttributeWriter
from gateway.builders.capture_text import capture_text
from gateway.builders.laterality import write_image_laterality
from gateway.builders.modules import session_time
from gateway.builders.options import BuildOptions
from gateway.builders.value_rules import shortened
from gateway.model.capture import Capture
from gateway.model.exam import Exam
from gateway.model.media import ColourModel, PixelFacts
from gateway.model.position import ProbePosition, Scan, Zone
from gateway.model.session import Session
from gateway.standard.codes import CodedConcept, clock_position, concept, find_concept

_LONGEST_COMMENT: Final = 10240


def write_general_image(w: AttributeWriter, exam: Exam, capture: Capture, facts: PixelFacts, path: str) -> None:
    """Write image type, times and comments (PS3.3 C.7.6.1).

    Patient Orientation is empty: rows and columns of an eye scan follow no body axis. Burned In Annotation is left out
    where nobody has stated whether the picture holds a name.
    """
    # The fourth value is the sum of mode bits; an A-scan has none (C.8.5.6.1.1).
    mode = [] if capture.position.scan is Scan.A_SCAN else ["0001"]
    pixels = "DERIVED" if facts.is_derived else "ORIGINAL"
    w.set("ImageType", [pixels, "PRIMARY", "OPHTHALMIC", *mode], "rule: PS3.3 C.8.5.6.1.1")
    w.set("PatientOrientation", None, "rule: PS3.3 C.7.6.1.1.1")
    moment = session_time(capture.acquired, exam.session) if capture.acquired else None
    origin = f"{path}.acquired"
    w.set("ContentDate", moment, origin)
    w.set("ContentTime", moment, origin)
    if moment:
        w.set("AcquisitionDate", moment, origin)
        w.set("AcquisitionTime", moment, origin)
        w.set("AcquisitionDateTime", moment, origin)
    text = capture.burned_in_text
    if text:
        shows_patient = text.identifies_patient and not text.is_masked
        w.set("BurnedInAnnotation", "YES" if shows_patient else "NO", f"{path}.burned_in_text")
    comments = capture_text(exam, capture)
    if len(comments) > _LONGEST_COMMENT:
        comments = comments[: _LONGEST_COMMENT - 3] + "..."
    w.set("ImageComments", comments, f"{path}, cautions, in words")


def write_position(w: AttributeWriter, capture: Capture, path: str, options: BuildOptions) -> None:
    """Write eye, view, zone, clock hour and direction in codes (PS3.3 C.7.6.1.1, C.8.5.6)."""
    position = capture.position
    view = find_concept("scan", position.scan.value)
    if view:
        # Transverse, longitudinal and axial are meant relative to limbus and visual axis.
        w.code("ViewCodeSequence", view, f"{path}.scan")
    modifiers = _region_modifiers(position, path, options)
    write_image_laterality(w, capture.eye, f"{path}.eye", modifiers, _structure(position, path))


def _region_modifiers(position: ProbePosition, path: str, options: BuildOptions) -> list[tuple[CodedConcept, str]]:
    """Return zone (own code, then the nearest code of PS3.16 CID 2), clock hour and direction.

    View Modifier Code Sequence is not used: checkers in use read it as another macro.
    """
    modifiers = []
    if position.zone:
        modifiers.append((concept("zone", position.zone.value), f"{path}.zone"))
        general = find_concept("zone_standard", position.zone.value)
        if general:
            modifiers.append((general, f"{path}.zone"))
    if position.clock_hour:
        code = clock_position(position.clock_hour.four_digits, snomed_extended=options.snomed_extended)
        modifiers.append((code, f"{path}.clock_hour"))
    direction = find_concept("scan_modifier", position.scan.value)
    if direction:
        modifiers.append((direction, f"{path}.scan"))
    return modifiers


def _structure(position: ProbePosition, path: str) -> tuple[CodedConcept, str] | None:
    """Return the structure that the scan itself names: macula, orbit or ciliary body."""
    if position.scan is Scan.MACULA:
        return concept("structure", "macula"), f"{path}.scan"
    if position.scan is Scan.ORBITAL:
        return concept("structure", "orbit"), f"{path}.scan"
    if position.zone is Zone.CILIARY_BODY:
        return concept("structure", "ciliary-body"), f"{path}.zone"
    return None


def write_device_settings(w: AttributeWriter, session: Session, capture: Capture, path: str) -> None:
    """Write probe, depth and output indices (PS3.3 C.8.5.6)."""
    probe, settings = session.probe, capture.settings
    if probe.type:
        w.set("TransducerType", probe.type, "session.probe.type")
    if probe.nominal_frequency_mhz is not None:
        text = f"nominal frequency {probe.nominal_frequency_mhz:g} MHz"
        w.set("TransducerData", [text], "session.probe.nominal_frequency_mhz")
    if settings.depth_mm is not None and float(settings.depth_mm).is_integer():
        # Whole millimetres only; another depth stands in the comments rather than rounded here.
        w.set("DepthOfScanField", int(settings.depth_mm), f"{path}.depth_mm")
    if settings.mechanical_index is not None:
        w.set("MechanicalIndex", settings.mechanical_index, f"{path}.mechanical_index")
    if settings.thermal_index:
        keyword = {"TIB": "BoneThermalIndex", "TIC": "CranialThermalIndex", "TIS": "SoftTissueThermalIndex"}
        w.set(keyword[settings.thermal_index.kind.value], settings.thermal_index.value, f"{path}.thermal_index")


def write_image_pixel(w: AttributeWriter, facts: PixelFacts, path: str) -> None:
    """Write Image Pixel without the pixels, and what has happened to them (PS3.3 C.7.6.3, C.8.5.6.1, C.7.6.1.1.5)."""
    origin = f"{path}.files"
    grey = facts.colour is ColourModel.GREY
    w.set("SamplesPerPixel", 1 if grey else 3, origin)
    w.set("PhotometricInterpretation", "MONOCHROME2" if grey else "RGB", origin)
    if not grey:
        w.set("PlanarConfiguration", 0, "rule: PS3.3 C.8.5.6.1.16")
    w.set("Rows", facts.rows, origin)
    w.set("Columns", facts.columns, origin)
    for keyword, value in (("BitsAllocated", 8), ("BitsStored", 8), ("HighBit", 7), ("PixelRepresentation", 0)):
        w.set(keyword, value, "rule: PS3.3 C.8.5.6.1")
    if grey:
        w.set("UltrasoundColorDataPresent", 0, origin)
        w.set("PresentationLUTShape", "IDENTITY", "rule: PS3.3 C.7.6.1")
    if facts.lossy:
        w.set("LossyImageCompression", "01", origin)
        w.set("LossyImageCompressionRatio", [round(facts.lossy.ratio, 4)], origin)
        w.set("LossyImageCompressionMethod", [facts.lossy.method], origin)
    else:
        w.set("LossyImageCompression", "00", origin)
    if facts.derivation:
        w.set("DerivationDescription", shortened(" ".join(facts.derivation), 1024), "rule: what was done on reading")
