"""Where every attribute of every object came from: field, place in its source, rule, section of PS3.3."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pydicom import Dataset, dcmread
from pydicom.datadict import keyword_for_tag

from gateway.errors import Place
from gateway.mapping.sources.exam import Trace
from gateway.pipeline.line import CheckedObject, PreparedExam
from gateway.standard.iods import AttributeRule, Iod, iod_of

_STEP = re.compile(r"([A-Za-z0-9]+)(?:\[([0-9]+)\])?(?:\.|$)")
_BULK = {"PixelData", "EncapsulatedDocument"}
_LONGEST_VALUE = 200
_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class ExplainedAttribute:
    """One attribute and its way.

    Parameters
    ----------
    attribute : str
        Path of keywords, items counted from 1.
    value : str
        As the object holds it; of a sequence the number of its items.
    field : str
        Field of the exam document, or the rule that gave the value.
    sources : tuple of tuple of str and str
        What stated it and where: ``("file name eye", "od_t3.bmp")``; empty for a value that a rule gave.
    rule : str
        Place of the rule in the mapping; empty where no mapping was used.
    because : str
        The rule's reason.
    section : str
        Of PS3.3, where the attribute is described.
    """

    attribute: str
    value: str
    field: str
    sources: tuple[tuple[str, str], ...]
    rule: str
    because: str
    section: str


@dataclass(frozen=True, slots=True)
class ExplainedObject:
    """One object with all its attributes."""

    name: str
    sop_instance_uid: str
    attributes: tuple[ExplainedAttribute, ...]


def explain_exam(prepared: PreparedExam, traces: Mapping[str, Trace]) -> tuple[ExplainedObject, ...]:
    """Say of each attribute of each object where its value came from.

    Parameters
    ----------
    traces : mapping of str to Trace
        How each field of the document came about; empty where the exam was read from a document of its own.
    """
    return tuple(_object(item, prepared.measured.exam.origins, traces) for item in prepared.objects)


def _object(item: CheckedObject, origins: Mapping[str, Place], traces: Mapping[str, Trace]) -> ExplainedObject:
    built = item.built
    dataset = dcmread(built.path)
    sections = _Sections(iod_of(built.sop_class_uid))
    attributes = []
    for path, origin in built.attribute_origins.items():
        trace = _trace_of(origin, traces)
        place = origins.get(origin)
        stated = tuple((words, str(where)) for words, where in trace.sources) if trace else ()
        attributes.append(
            ExplainedAttribute(
                attribute=path,
                value=_value(dataset, path),
                field=origin,
                sources=stated or _unstated(trace) or ((("exam document", str(place)),) if place else ()),
                rule=_line(trace.rule) if trace else "",
                because=trace.because if trace else "",
                section=sections.of(path),
            )
        )
    return ExplainedObject(built.capture_id or built.kind.value, built.sop_instance_uid, tuple(attributes))


def _unstated(trace: Trace | None) -> tuple[tuple[str, str], ...]:
    return ((f"nothing at {trace.looked}", ""),) if trace else ()


def unstated_fields(traces: Mapping[str, Trace]) -> tuple[str, ...]:
    """Say of each rule of a mapping that found no value for some field: which, where it looked, and its line."""
    by_rule: dict[str, list[str]] = {}
    for path, trace in traces.items():
        if not trace.sources:
            by_rule.setdefault(f"nothing at {trace.looked} ({_line(trace.rule)})", []).append(path)
    return tuple(f"{', '.join(_some(paths))}: {why}" for why, paths in by_rule.items())


def _some(paths: Sequence[str]) -> Sequence[str]:
    left = len(paths) - _MOST_NAMED
    return [*paths[:_MOST_NAMED], f"{left} more"] if left > 0 else paths


def _trace_of(origin: str, traces: Mapping[str, Trace]) -> Trace | None:
    """Return the trace of a field, else of the nearest one inside or around it."""
    if origin in traces:
        return traces[origin]
    stated = {path: trace for path, trace in traces.items() if trace.sources}
    inside = (trace for path, trace in stated.items() if path.startswith((f"{origin}.", f"{origin}[")))
    around = (trace for path, trace in stated.items() if origin.startswith((f"{path}.", f"{path}[")))
    return next(inside, None) or next(around, None)


def _line(place: Place) -> str:
    return f"{place.file}:{place.line}"


def _steps(path: str) -> Iterator[tuple[str, int]]:
    for keyword, number in _STEP.findall(path):
        yield keyword, int(number or 0)


def _value(dataset: Dataset, path: str) -> str:
    """Return the value at a path as text; of bulk its length, of a sequence the number of its items."""
    found: Dataset = dataset
    for keyword, number in _steps(path):
        value = found.get(keyword)
        if number and value is not None and len(value) >= number:
            found = value[number - 1]
            continue
        if value is None or number:
            return ""
        if keyword in _BULK:
            return f"{len(value)} bytes"
        if found[keyword].VR == "SQ":
            return f"{len(value)} items"
        text = "\\".join(str(each) for each in value) if found[keyword].VM > 1 else str(value)
        return text if len(text) <= _LONGEST_VALUE else f"{text[:_LONGEST_VALUE]}..."
    return ""


class _Sections:
    """Finds the section of PS3.3 that describes an attribute of an IOD."""

    def __init__(self, iod: Iod | None) -> None:
        self._iod = iod
        self._modules: dict[str, tuple[str, AttributeRule]] = {}
        for module in iod.modules if iod else ():
            for rule in module.attributes:
                self._modules.setdefault(_keyword(rule), (module.section, rule))

    def of(self, path: str) -> str:
        """Return ``PS3.3 C.7.6.1``, or nothing where no table of the IOD has the attribute."""
        steps = list(_steps(path))
        if not steps or steps[0][0] not in self._modules:
            return ""
        section, rule = self._modules[steps[0][0]]
        section = rule.section or section
        for keyword, _ in steps[1:]:
            rows = self._iod.item_tables.get(rule.items, ()) if self._iod else ()
            inner = next((row for row in rows if _keyword(row) == keyword), None)
            if inner is None:
                break
            rule, section = inner, inner.section or section
        return f"PS3.3 {section}"


def _keyword(rule: AttributeRule) -> str:
    return rule.keyword or keyword_for_tag(rule.tag)
