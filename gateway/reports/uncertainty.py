"""What the uncertainties of a report rest on: each contribution said once, with the measurements that it concerns."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from gateway.model.measurement import MeasuredValue, ValueOrigin
from gateway.model.uncertainty import Uncertainty
from gateway.reports.characters import seen

_WHAT_PLUS_MINUS_IS: Final = (
    f"± is the expanded uncertainty, k = {Uncertainty.COVERAGE_FACTOR:g}, about 95 % (JCGM 100:2008), of what is "
    "included here alone: “or more” where something is left out. Corrected and computed values are shown to its last "
    "digit."
)


def uncertainty_notes(values: Sequence[MeasuredValue]) -> tuple[str, ...]:
    """Say what the uncertainties include and leave out, and whose published figures they use.

    Returns
    -------
    tuple of str
        Empty where no uncertainty was worked out.
    """
    included: dict[str, dict[str, None]] = {}
    left_out: dict[str, dict[str, None]] = {}
    remarks: dict[str, dict[str, None]] = {}
    sources: dict[str, None] = {}
    concerned: dict[str, None] = {}
    derived = {value.measurement.id for value in values if value.sources}
    for name, uncertainty in _uncertainties(values):
        concerned[name] = None
        for component in uncertainty.components:
            included.setdefault(component.name, {})[name] = None
            # What a derived value rests on is cited by the values that it is computed from.
            if component.is_published and name not in derived:
                sources[component.how] = None
        for words in uncertainty.not_included:
            left_out.setdefault(words, {})[name] = None
        if uncertainty.remark:
            remarks.setdefault(uncertainty.remark, {})[name] = None
    if not concerned:
        return ()
    everyone = tuple(concerned)
    lines = (
        _WHAT_PLUS_MINUS_IS if included else "",
        _line("Included", included, everyone),
        _line("Not included", left_out, everyone),
        _line("Few readings", remarks, everyone),
        *(f"{source[:1].upper()}{source[1:]}." for source in sources),
    )
    return tuple(seen(line) for line in lines if line)


def _uncertainties(values: Sequence[MeasuredValue]) -> Iterator[tuple[str, Uncertainty]]:
    for value in values:
        if value.uncertainty is not None:
            yield value.measurement.id, value.uncertainty
        if value.origin is not ValueOrigin.FROM_GATES:
            for length in value.biometry:
                if length.uncertainty is not None:
                    yield f"{value.measurement.id} by {length.method.replace('-', ' ')}", length.uncertainty
        if value.corrected is not None and value.corrected.uncertainty is not None:
            yield value.measurement.id, value.corrected.uncertainty


def _line(label: str, said: Mapping[str, Mapping[str, None]], everyone: Sequence[str]) -> str:
    parts = [f"{words} [{_whom(names, everyone)}]" for words, names in said.items()]
    return "\n– ".join([f"{label}:", *parts]) if parts else ""


def _whom(names: Mapping[str, None], everyone: Sequence[str]) -> str:
    """Name the measurements concerned, or those that are not, whichever is shorter."""
    others = [name for name in everyone if name not in names]
    if not others:
        return "all"
    return ", ".join(names) if len(names) <= len(others) + 1 else f"all but {', '.join(others)}"
