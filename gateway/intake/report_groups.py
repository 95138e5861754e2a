"""One measurement group of a report: a finding or a structure of one eye, with its numbers (PS3.16 TID 1501)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from gateway.intake.report_codes import code_named, is_named, named, structure_of, text_named, word_for
from gateway.intake.report_numbers import is_number, number_of
from gateway.intake.report_pictures import NOTHING_KNOWN, PictureFacts, common_facts, picture_uid
from gateway.intake.report_tree import ReportItem
from gateway.model.coded import CodedConcept
from gateway.model.laterality import Eye
from gateway.model.position import ClockHour, Zone
from gateway.model.prior import PriorGroup, PriorMeasurement, UnreadItem

_UNDERSTOOD: Final = (
    "tracking-identifier",
    "tracking-unique-identifier",
    "finding",
    "finding-presence",
    "finding-site",
    "finding-category",
    "laterality",
    "clockface-or-region",
    "comment",
    "source",
    "source-of-measurement",
    "measurement-method",
    "image-region",
)
_POINTERS: Final = frozenset({"IMAGE", "SCOORD", "SCOORD3D", "COMPOSITE"})
_WHOLE_EYE: Final = frozenset({"eye", "eyeball"})

Pictures = Mapping[str, PictureFacts]


def group_of(item: ReportItem, pictures: Pictures) -> tuple[PriorGroup, tuple[UnreadItem, ...]]:
    """Return what a group says, and what of it was left aside."""
    where = text_named(item, "tracking-identifier") or "Measurement Group"
    site = next(iter(named(item, "finding-site")), None)
    said = _said(item)
    eye = _eye(item, site)
    numbers, unread = _numbers(item, pictures, eye, where)
    if eye is None:
        stated = {_eye_of(code_named(s, "laterality")) for n in item.children for s in named(n, "finding-site")}
        eye = stated.pop() if len(stated) == 1 else None
    structure = said.structure or structure_of(site.code if site else None)
    if structure in _WHOLE_EYE:
        structure = ""
    if not structure and not said.words:
        of_numbers = {number.structure for number in numbers}
        structure = of_numbers.pop() if len(of_numbers) == 1 else ""
    group = PriorGroup(
        tracking_identifier=text_named(item, "tracking-identifier"),
        tracking_uid=text_named(item, "tracking-unique-identifier"),
        finding=said.words,
        finding_code=said.code,
        presence=said.presence,
        eye=eye,
        structure=structure,
        clock_hour=_clock_hour(item),
        zone=_zone(site),
        measurements=tuple(numbers),
    )
    return group, (*unread, *_left_aside(item, where))


# ------------------------------------------------------------------ numbers


def _numbers(
    item: ReportItem, pictures: Pictures, eye: Eye | None, where: str
) -> tuple[list[PriorMeasurement], list[UnreadItem]]:
    own = {child.instance_uid for child in item.children if child.instance_uid}
    only_picture = own.pop() if len(own) == 1 else ""
    of_labels = {text_named(child, "tracking-identifier"): picture_uid(child) for child in item.children}
    method = code_named(item, "measurement-method")
    numbers: list[PriorMeasurement] = []
    unread: list[UnreadItem] = []
    for child in item.children:
        if not is_number(child):
            continue
        name = f"{where} > {child.name.meaning if child.name else 'a number'}"
        other_eye = {_eye_of(code_named(site, "laterality")) for site in named(child, "finding-site")} - {None, eye}
        # The project's own reports let a mean of repeats point to no picture; it is that of the number it repeats.
        repeated = of_labels.get(text_named(child, "tracking-identifier").removesuffix(" mean"), "")
        uid = picture_uid(child) or repeated or only_picture
        number = number_of(child, pictures.get(uid, NOTHING_KNOWN) if uid else common_facts(child, pictures))
        if isinstance(number, str):
            unread.append(UnreadItem(name, number))
        elif eye is not None and other_eye:
            unread.append(UnreadItem(name, "the number and its group name different eyes"))
        else:
            numbers.append(replace(number, method=number.method or method))
    return numbers, unread


# ------------------------------------------------------------------ the finding


class _Said:
    """What a group says was found."""

    __slots__ = ("code", "presence", "structure", "words")

    def __init__(self, words: str = "", code: CodedConcept | None = None, presence: str = "present") -> None:
        self.words = words
        self.code = code
        self.presence = presence
        self.structure = ""


def _said(item: ReportItem) -> _Said:
    """Return the finding; a statement that something is absent must never be read as its presence."""
    for child in item.children:
        presence = word_for(child.code, "presence")
        site = code_named(child, "finding-site")
        if is_named(child, "finding-presence"):
            said = _in_words(item, presence or "undetermined")
        elif is_named(child, "finding") and child.code is not None:
            words = text_named(child, "equivalent-meaning-of-value") or child.code.meaning.lower()
            said = _Said(words, child.code)
            said.structure = structure_of(site)
        elif is_named(child, "finding") and child.text:
            said = _Said(child.text)
        elif presence and child.value_type == "CODE" and child.name is not None:
            said = _Said(text_named(child, "equivalent-meaning") or child.name.meaning.lower(), child.name)
            said.presence = presence.replace("-", " ")
            said.structure = structure_of(site)
        else:
            continue
        return said
    return _Said()


def _in_words(item: ReportItem, presence: str) -> _Said:
    """Return a finding without a code: its words begin with its presence where that is not `present`."""
    comment = next(iter(named(item, "comment")), None)
    presence = presence.replace("-", " ")
    said = _Said(comment.text.removeprefix(f"{presence}: ") if comment else "", None, presence)
    said.structure = structure_of(code_named(comment, "finding-site") if comment else None)
    return said


# ------------------------------------------------------------------ the place


def _eye(item: ReportItem, site: ReportItem | None) -> Eye | None:
    for holder in (site, item):
        eye = _eye_of(code_named(holder, "laterality")) if holder else None
        if eye is not None:
            return eye
    return None


def _eye_of(code: CodedConcept | None) -> Eye | None:
    word = word_for(code, "laterality")
    return Eye(word) if word else None


def _clock_hour(item: ReportItem) -> ClockHour | None:
    code = code_named(item, "clockface-or-region")
    four_digits = word_for(code, "clock") or word_for(code, "clock_snomed")
    if not four_digits:
        return None
    return ClockHour(int(four_digits[:2]) * 2 + (four_digits[2:] == "30"))


def _zone(site: ReportItem | None) -> Zone | None:
    word = word_for(code_named(site, "topographical-modifier"), "zone") if site else ""
    return Zone(word) if word else None


# ------------------------------------------------------------------ what was left aside


def _left_aside(item: ReportItem, where: str) -> list[UnreadItem]:
    left = []
    for child in item.children:
        if child.value_type in _POINTERS or child.value_type == "NUM":
            continue
        if any(is_named(child, word) for word in _UNDERSTOOD) or word_for(child.code, "presence"):
            continue
        name = child.name.meaning if child.name else child.value_type or "an item"
        left.append(UnreadItem(f"{where} > {name}", "not a part of a measurement group that is known here"))
    if len(named(item, "finding")) > 1:
        left.append(UnreadItem(where, "several findings in one group; the first is used"))
    return left
