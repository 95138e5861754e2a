"""One number of a report with everything that decides what it may be compared with (PS3.16 TID 300, TID 1419)."""

from __future__ import annotations

from gateway.intake.report_codes import code_named, is_named, is_same, named, structure_of, text_named, word_for
from gateway.intake.report_pictures import PictureFacts
from gateway.intake.report_tree import ReportItem
from gateway.model.measurement import MeasurementKind
from gateway.model.prior import PriorMeasurement
from gateway.standard.codes import concept


def number_of(item: ReportItem, picture: PictureFacts) -> PriorMeasurement | str:
    """Return what a NUM says, or why it cannot be used."""
    if item.name is None:
        return "a number without a name"
    if item.number is None:
        return "no number stands here"
    if item.unit is None or not item.unit.value:
        return "a number without a unit"
    method = code_named(item, "measurement-method")
    corrected_from = _corrected_from(item)
    speed = _speed(item)
    kind = _kind(item)
    meaning = text_named(item, "equivalent-meaning")
    return PriorMeasurement(
        name=item.name,
        value=item.number,
        unit=item.unit.value,
        text=item.digits,
        words=kind.words if kind else meaning or item.name.meaning.lower() or item.name.value,
        kind=kind,
        structure=structure_of(code_named(item, "finding-site")),
        direction=picture.direction,
        method=method,
        derivation=code_named(item, "derivation"),
        is_corrected=corrected_from is not None,
        speed_m_per_s=speed,
        assumed_speed_m_per_s=_speed(corrected_from) if corrected_from else None,
        formula=text_named(item, "equation"),
        contact=picture.contact,
        tracking_identifier=text_named(item, "tracking-identifier"),
        tracking_uid=text_named(item, "tracking-unique-identifier"),
        tissue_sensitivity_db=_below(item, "tissue-sensitivity", "dB"),
        reference=structure_of(code_named(item, "echo-reference")),
    )


def _kind(item: ReportItem) -> MeasurementKind | None:
    """Return which kind the number is of.

    Some kinds share a general code (a base is a diameter, an axial length a length), so there the trade's name beside
    the code decides; a general code alone tells no kind.
    """
    meaning = text_named(item, "equivalent-meaning").lower()
    for kind in MeasurementKind:
        code = concept("quantity", kind.value)
        if item.name is None or not is_same(item.name, code):
            continue
        stated = meaning in {"", kind.words} or meaning.startswith(
            (f"{kind.words} corrected for", f"{kind.words} by ", f"mean {kind.words} of")
        )
        if stated and (meaning or code.meaning.lower() == kind.words or code.meaning.lower() not in _GENERAL):
            return kind
    return None


_GENERAL = frozenset({"diameter", "length", "volume"})


def _corrected_from(item: ReportItem) -> ReportItem | None:
    """Return the displayed number that a corrected one was inferred from, which has the same name (TID 320)."""
    is_mean = word_for(code_named(item, "derivation"), "sr") == "mean"
    if is_mean or item.name is None:
        return None
    for child in item.children:
        if child.value_type == "NUM" and child.name is not None and is_same(child.name, item.name):
            return child
    return None


def _speed(item: ReportItem) -> float | None:
    """Return the speed of sound stated directly below a number, in metres per second."""
    return _below(item, "speed-of-sound", "m/s")


def _below(item: ReportItem, word: str, unit: str) -> float | None:
    """Return the one number of this name and unit directly below another; None where they differ."""
    numbers = {
        child.number
        for child in named(item, word)
        if child.number is not None and child.unit is not None and is_same(child.unit, concept("unit", unit))
    }
    return numbers.pop() if len(numbers) == 1 else None


def is_number(item: ReportItem) -> bool:
    """Whether an item is a measured number, and not the speed of sound behind one."""
    return item.value_type == "NUM" and not is_named(item, "speed-of-sound")
