"""Circumstances of the acquisition that have no attribute of their own: Acquisition Context (PS3.3 C.7.6.14).

The module is not part of the ultrasound IODs, so the sequence is a standard-extended attribute (PS3.2 3.11.3).
"""

from __future__ import annotations

from collections.abc import Iterator

from gateway.builders.attributes import AttributeWriter
from gateway.builders.options import BuildOptions
from gateway.builders.value_rules import shortened
from gateway.model.capture import AcquisitionSettings, Capture
from gateway.model.exam import Caution
from gateway.model.position import ProbePosition
from gateway.standard.codes import CodedConcept, clock_position, concept, find_concept


def write_acquisition_context(
    w: AttributeWriter, capture: Capture, cautions: tuple[Caution, ...], path: str, options: BuildOptions
) -> None:
    """Write one item for each circumstance that the exam states; no sequence where it states none.

    Parameters
    ----------
    path : str
        Field path of the capture, e.g. ``captures[2]``.
    """
    items = [
        *_position_items(capture.position, path, options),
        *_contact_items(capture.settings, path),
        *_device_items(capture, path),
        *(_text("caution", caution.words, "cautions") for caution in cautions),
    ]
    if items:
        w.sequence("AcquisitionContextSequence", items, "rule: PS3.3 C.7.6.14")


def _position_items(position: ProbePosition, path: str, options: BuildOptions) -> Iterator[AttributeWriter]:
    direction = find_concept("scan_modifier", position.scan.value)
    if direction:
        yield _code("scan-plane-direction", direction, f"{path}.scan")
    if position.clock_hour:
        code = clock_position(position.clock_hour.four_digits, snomed_extended=options.snomed_extended)
        yield _code("clockface-or-region", code, f"{path}.clock_hour")
    if position.zone:
        yield _code("zone", concept("zone", position.zone.value), f"{path}.zone")
    if position.marker:
        yield _text("probe-marker", position.marker.value.replace("-", " "), f"{path}.marker")


def _contact_items(settings: AcquisitionSettings, path: str) -> Iterator[AttributeWriter]:
    if settings.contact:
        lid = find_concept("eyelid_state", settings.contact.value)
        if lid:
            yield _code("eyelid-state", lid, f"{path}.contact")
    if settings.anaesthetic:
        code = find_concept("anaesthetic", settings.anaesthetic)
        if code:
            yield _code("anesthesia-method", code, f"{path}.anaesthetic")
        else:
            yield _text("anesthesia-method", settings.anaesthetic, f"{path}.anaesthetic")


def _device_items(capture: Capture, path: str) -> Iterator[AttributeWriter]:
    settings = capture.settings
    if capture.calibration and capture.calibration.assumed_speed_m_per_s is not None:
        speed, origin = capture.calibration.assumed_speed_m_per_s, f"{path}.calibration.assumed_speed_m_per_s"
        yield _numeric("speed-of-sound", speed, "m/s", origin)
    if settings.gain_db is not None:
        yield _numeric("gain", settings.gain_db, "dB", f"{path}.gain_db")
    if settings.display_gain_db is not None:
        yield _numeric("display-gain", settings.display_gain_db, "dB", f"{path}.display_gain_db")
    if settings.dynamic_range_db is not None:
        yield _numeric("dynamic-range", settings.dynamic_range_db, "dB", f"{path}.dynamic_range_db")


def _item(value_type: str, name: str, origin: str) -> AttributeWriter:
    item = AttributeWriter()
    item.set("ValueType", value_type, "rule: PS3.3 10.2")
    item.code("ConceptNameCodeSequence", concept("sr", name), origin)
    return item


def _code(name: str, value: CodedConcept, origin: str) -> AttributeWriter:
    item = _item("CODE", name, origin)
    item.code("ConceptCodeSequence", value, origin)
    return item


def _text(name: str, value: str, origin: str) -> AttributeWriter:
    item = _item("TEXT", name, origin)
    item.set("TextValue", shortened(value, 1024), origin)
    return item


def _numeric(name: str, value: float, unit: str, origin: str) -> AttributeWriter:
    item = _item("NUMERIC", name, origin)
    item.set("NumericValue", [value], origin)
    item.code("MeasurementUnitsCodeSequence", concept("unit", unit), origin)
    return item
