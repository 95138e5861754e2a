"""The report's content as far as the shipped fonts can draw it, for renderings that bring their own fonts."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any, Final

from gateway.reports.characters import can_draw, drawable
from gateway.reports.content import PatientName, Report

NAME_NOTE: Final = (
    "The {forms} form of the patient's name has characters that this document's fonts cannot draw and is left out "
    "here; the stored DICOM objects carry it."
)
TEXT_NOTE: Final = (
    "[U+…] stands for a character that cannot be drawn here, or that acts without being seen, and gives its number."
)
_WRITTEN_OUT: Final = "[U+"


def texts(value: object) -> Iterator[str]:
    """Yield every text of the content, at any depth."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for item in value:
            yield from texts(item)
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from texts(getattr(value, field.name))


def with_note_on_code_points(report: Report) -> Report:
    """Add to the notes what ``[U+...]`` means, where the report has one."""
    if TEXT_NOTE in report.notes or not any(_WRITTEN_OUT in text for text in texts(report)):
        return report
    return dataclasses.replace(report, notes=(*report.notes, TEXT_NOTE))


def printable(report: Report) -> Report:
    """Return the report with every character that the fonts lack said in another way, and a note that this was done.

    A name in further scripts falls back to its alphabetic form as a whole: half a name would mislead.
    """
    name, left_out = _printable_name(report.name)
    drawn: Report = _with_texts(dataclasses.replace(report, name=name), drawable)
    if left_out:
        note = NAME_NOTE.format(forms=" and the ".join(left_out))
        drawn = dataclasses.replace(drawn, notes=(*drawn.notes, note))
    return with_note_on_code_points(drawn)


def _printable_name(name: PatientName) -> tuple[PatientName, tuple[str, ...]]:
    left_out = tuple(form for form in ("ideographic", "phonetic") if not can_draw(getattr(name, form)))
    return dataclasses.replace(name, **dict.fromkeys(left_out, "")), left_out


def _with_texts(value: Any, change: Callable[[str], str]) -> Any:  # noqa: ANN401  gives back the type it is given
    """Return the same content with every text changed; numbers, pictures and enumerations stay."""
    if type(value) is str:
        return change(value)
    if isinstance(value, tuple):
        return tuple(_with_texts(item, change) for item in value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {f.name: _with_texts(getattr(value, f.name), change) for f in dataclasses.fields(value)}
        return dataclasses.replace(value, **fields)
    return value
