"""Attributes that one destination may read otherwise, and how such a variant of an object is written.

A variant has its own SOP Instance UID, because two contents never share one (PS3.5 9, PS3.3 C.12.1); and where it says
something else of series or equipment, its own Series Instance UID, because these attributes are one for all instances
of a series (PS3.3 A.1.4, C.7.3.1, C.7.5.1). Patient and study stay the same everywhere.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from pydicom.datadict import dictionary_VR, tag_for_keyword

from gateway.builders.attributes import AttributeWriter
from gateway.builders.value_rules import encoded
from gateway.errors.destinations import OverrideNotAllowedError, OverrideValueError
from gateway.errors.objects import ObjectError
from gateway.model.destination_override import DestinationOverride


@dataclass(frozen=True, slots=True)
class OverridableAttribute:
    """An attribute that changes neither identity nor clinical meaning.

    Parameters
    ----------
    module : str
        Module of PS3.3 that it belongs to.
    is_of_series : bool
        It must be the same in all instances of a series, so that another value makes another series.
    must_not_name_an_eye : bool
        One value for both eyes would say the wrong one of half of the images.
    """

    module: str
    is_of_series: bool
    must_not_name_an_eye: bool = False


_ISSUER: Final = "IssuerOfAccessionNumberSequence.LocalNamespaceEntityID"

OVERRIDABLE: Final[Mapping[str, OverridableAttribute]] = MappingProxyType(
    {
        "StudyDescription": OverridableAttribute("General Study, PS3.3 C.7.2.1", False, must_not_name_an_eye=True),
        _ISSUER: OverridableAttribute("General Study, PS3.3 C.7.2.1 and 10.14", False),
        "SeriesDescription": OverridableAttribute("General Series, PS3.3 C.7.3.1", True, must_not_name_an_eye=True),
        "InstitutionName": OverridableAttribute("General Equipment, PS3.3 C.7.5.1", True),
        "InstitutionAddress": OverridableAttribute("General Equipment, PS3.3 C.7.5.1", True),
        "InstitutionalDepartmentName": OverridableAttribute("General Equipment, PS3.3 C.7.5.1", True),
        "StationName": OverridableAttribute("General Equipment, PS3.3 C.7.5.1", True),
    }
)
"""Everything else is refused: patient, UIDs, orders' numbers, eyes, positions, calibration, pixels, measurements."""

_EYE_WORDS: Final = re.compile(r"\b(od|os|ou|right|left|dexter|dextra|sinister|sinistra)\b", re.IGNORECASE)


def check_overrides(overrides: Sequence[DestinationOverride]) -> None:
    """Refuse overrides that no object may carry.

    Raises
    ------
    OverrideNotAllowedError
        If the keyword is unknown, or its attribute may not be overridden.
    OverrideValueError
        If its value representation cannot hold the value, the value names an eye, or the reason is missing.
    """
    seen: set[str] = set()
    for override in overrides:
        rule = _rule_of(override)
        if override.attribute in seen:
            raise OverrideValueError("an attribute overridden twice", where=override.attribute, fix="delete one")
        seen.add(override.attribute)
        if not override.because.strip():
            fix = "say why in because; it is kept with the value"
            raise OverrideValueError("an override without its reason", where=override.attribute, fix=fix)
        _check_value(override, rule)


def _rule_of(override: DestinationOverride) -> OverridableAttribute:
    keyword = override.attribute
    if keyword in OVERRIDABLE:
        return OVERRIDABLE[keyword]
    known = ", ".join(OVERRIDABLE)
    if all(tag_for_keyword(part) is not None for part in keyword.split(".")):
        what = "this attribute may not be another for one destination"
        raise OverrideNotAllowedError(what, where=keyword, fix=f"allowed are {known}")
    near = difflib.get_close_matches(keyword, OVERRIDABLE, 1, cutoff=0.5)
    fix = f"did you mean {near[0]}?" if near else f"allowed are {known}"
    raise OverrideNotAllowedError("no attribute of PS3.6 has this keyword", where=keyword, was=keyword, fix=fix)


def _check_value(override: DestinationOverride, rule: OverridableAttribute) -> None:
    keyword = override.attribute.rpartition(".")[2]
    value = override.value
    if not value.strip() or value != value.strip():
        fix = "write a value without spaces around it"
        raise OverrideValueError("an empty value, or spaces around it", where=override.attribute, fix=fix)
    try:
        encoded(dictionary_VR(keyword), value, keyword)
    except ObjectError as error:
        raise OverrideValueError(error.what, where=override.attribute, was=error.was, fix=error.fix) from error
    if rule.must_not_name_an_eye and _EYE_WORDS.search(value):
        fix = "leave the eye out: one value stands in the objects of both"
        raise OverrideValueError("a value that names an eye", where=override.attribute, fix=fix)


def apply_overrides(w: AttributeWriter, overrides: Sequence[DestinationOverride]) -> None:
    """Write a destination's own values over those of the exam; the origins say so.

    Items of Contributing Equipment and the like are left as they are: they tell what happened.

    Raises
    ------
    OverrideNotAllowedError, OverrideValueError
    """
    check_overrides(overrides)
    for override in overrides:
        origin = f"override for destination {override.destination}: {override.because}"
        if override.attribute != _ISSUER:
            w.override(override.attribute, override.value, origin)
        elif w.dataset.get("AccessionNumber"):  # nobody issued a number that is not there
            sequence, keyword = override.attribute.split(".")
            item = AttributeWriter()
            item.set(keyword, override.value, origin)
            w.sequence(sequence, [item], origin)


def series_variant(overrides: Sequence[DestinationOverride]) -> list[list[str]]:
    """Return what sets the series of a variant apart from the plain ones; empty where they are the same series."""
    of_series = [o for o in overrides if OVERRIDABLE[o.attribute].is_of_series]
    return sorted([o.attribute, o.value] for o in of_series)
