"""Attribute matching of Study Root C-FIND (PS3.4 C.2.2.2) and the answers to it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from pydicom.datadict import dictionary_VR
from pydicom.dataset import Dataset

from gateway.transports.dimse.archive.records import IMAGE_KEYS, SERIES_KEYS, STUDY_KEYS, Record

_LEVELS = {"STUDY": STUDY_KEYS, "SERIES": STUDY_KEYS + SERIES_KEYS, "IMAGE": STUDY_KEYS + SERIES_KEYS + IMAGE_KEYS}
_UNIQUE = {"STUDY": "StudyInstanceUID", "SERIES": "SeriesInstanceUID", "IMAGE": "SOPInstanceUID"}
_ABOVE = {"STUDY": (), "SERIES": ("StudyInstanceUID",), "IMAGE": ("StudyInstanceUID", "SeriesInstanceUID")}
_COUNTS = {
    "STUDY": ("ModalitiesInStudy", "NumberOfStudyRelatedSeries", "NumberOfStudyRelatedInstances"),
    "SERIES": ("NumberOfSeriesRelatedInstances",),
    "IMAGE": (),
}
_COMPUTED = {keyword for keywords in _COUNTS.values() for keyword in keywords}
_NOT_KEYS = {"QueryRetrieveLevel", "SpecificCharacterSet", "TimezoneOffsetFromUTC", "RetrieveAETitle"}


class IdentifierError(ValueError):
    """The identifier of a query does not match the SOP class (status A900)."""


@dataclass(frozen=True, slots=True)
class Query:
    """One query.

    Parameters
    ----------
    level : str
        ``STUDY``, ``SERIES`` or ``IMAGE``.
    keys : mapping of str to str
        Value to match by keyword; empty: universal matching, the attribute is only asked for.
    unsupported : bool
        True where attributes were asked for that this archive does not know; answers then say so (status FF01).
    """

    level: str
    keys: Mapping[str, str]
    unsupported: bool


def read_query(identifier: Dataset) -> Query:
    """Return the query that an identifier asks.

    Raises
    ------
    IdentifierError
        If the level is unknown, or the unique key of a level above is not one single value (PS3.4 C.4.1.2.1).
    """
    level = str(identifier.get("QueryRetrieveLevel", "")).strip()
    if level not in _LEVELS:
        raise IdentifierError("the query level is not STUDY, SERIES or IMAGE")
    keys: dict[str, str] = {}
    unsupported = False
    for element in identifier:
        if element.keyword in _NOT_KEYS:
            continue
        if element.VR == "SQ" or element.keyword not in _LEVELS[level] + _COUNTS[level]:
            unsupported = True
            continue
        value = element.value
        several = isinstance(value, Iterable) and not isinstance(value, str) and element.VM > 1
        keys[element.keyword] = "\\".join(map(str, value)) if several else str("" if value is None else value)
    for keyword in _ABOVE[level]:
        if not keys.get(keyword) or set(keys[keyword]) & set("\\*?"):
            raise IdentifierError(f"a query at {level} level needs one {keyword}")
    return Query(level, keys, unsupported)


def answers(query: Query, records: Iterable[Record], retrieve_ae_title: str) -> Iterator[Dataset]:
    """Yield one identifier for each matching study, series or instance, in a stable order."""
    groups: dict[str, list[Record]] = {}
    for record in records:
        if all(_matches(keyword, value, record[keyword]) for keyword, value in query.keys.items() if value):
            groups.setdefault(record[_UNIQUE[query.level]], []).append(record)
    modality = query.keys.get("ModalitiesInStudy", "")
    for unique in sorted(groups):
        if modality and not any(_wildcard(modality, record["Modality"]) for record in groups[unique]):
            continue
        yield _answer(query, groups[unique], retrieve_ae_title)


def _answer(query: Query, members: list[Record], retrieve_ae_title: str) -> Dataset:
    answer = Dataset()
    answer.QueryRetrieveLevel = query.level
    answer.RetrieveAETitle = retrieve_ae_title
    values = {keyword: _value(keyword, members) for keyword in {*query.keys, _UNIQUE[query.level]}}
    if not all(value.isascii() for value in values.values()):
        answer.SpecificCharacterSet = "ISO_IR 192"
    for keyword, value in values.items():
        setattr(answer, keyword, value.split("\\") if "\\" in value else value)
    return answer


def _value(keyword: str, members: list[Record]) -> str:
    if keyword == "ModalitiesInStudy":
        return "\\".join(sorted({one["Modality"] for one in members} - {""}))
    if keyword == "NumberOfStudyRelatedSeries":
        return str(len({one["SeriesInstanceUID"] for one in members}))
    if keyword in ("NumberOfStudyRelatedInstances", "NumberOfSeriesRelatedInstances"):
        return str(len(members))
    return members[0][keyword]


def _matches(keyword: str, wanted: str, value: str) -> bool:
    if keyword in _COMPUTED:
        return True  # counts are not matched; modalities are a matter of the whole study
    return _matcher(dictionary_VR(keyword))(wanted, value)


def _matcher(vr: str) -> Callable[[str, str], bool]:
    if vr == "UI":
        return lambda wanted, value: value in wanted.split("\\")
    if vr in ("DA", "TM"):
        return lambda wanted, value: _in_range(wanted, value, vr)
    if vr == "PN":
        return _name_matches
    if vr in ("IS", "DS"):
        return lambda wanted, value: wanted.strip() == value.strip()
    return _wildcard


def _wildcard(wanted: str, value: str) -> bool:
    pattern = "".join({"*": ".*", "?": "."}.get(char, re.escape(char)) for char in wanted)
    return re.fullmatch(pattern, value, re.DOTALL) is not None


def _name_matches(wanted: str, value: str) -> bool:
    # PS3.4 C.2.2.2.1: names may be matched without regard to case; each component group stands for the person.
    groups = [group.rstrip("^ ") for group in value.split("=")]
    spelt = wanted.rstrip("^= ").casefold()
    return any(_wildcard(spelt, group.casefold()) for group in groups if group) or spelt == value.casefold()


def _in_range(wanted: str, value: str, vr: str) -> bool:
    """Range or single value matching of dates and times (PS3.4 C.2.2.2.5); an absent value matches no range."""
    if not value:
        return False
    first, dash, last = wanted.partition("-")
    low = _point(first, vr, "0")
    high = _point(last if dash else first, vr, "9")
    at = _point(value, vr, "0")
    return (not first or low <= at) and ((bool(dash) and not last) or at <= high)


def _point(text: str, vr: str, fill: str) -> str:
    digits = text.strip().replace(":", "").replace(".", "")
    return digits.ljust(8 if vr == "DA" else 12, fill)
