"""Attribute types against dciodvfy of dicom3tools: an independent reading of PS3.3 by other people."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache

import pytest

from gateway.validation import Finding, Severity, check_bytes, check_dataset
from tests.conformance.additions import additions
from tests.conformance.clean_objects import CLEAN_OBJECTS, file_bytes
from tests.conformance.disagreements import ONLY_THEIRS, only_ours_reason
from tests.conformance.mutations import Mutation, mutations
from tests.conformance.oracle import Verdict, verdict

LEAST_DEFECTS = {"us-image": 90, "us-multi-frame-image": 95, "comprehensive-sr": 300, "encapsulated-pdf": 48}
PLACES_TO_ADD = [
    ("us-image", ()),
    ("us-image", ("SequenceOfUltrasoundRegions",)),
    ("us-image", ("AnatomicRegionSequence",)),
    ("us-image", ("RequestAttributesSequence",)),
    ("us-image", ("ContributingEquipmentSequence",)),
    ("us-multi-frame-image", ()),
    ("comprehensive-sr", ()),
    ("comprehensive-sr", ("ContentSequence",)),
    ("encapsulated-pdf", ()),
    ("encapsulated-pdf", ("SourceInstanceSequence",)),
]


@cache
def judged(name: str) -> tuple[tuple[Mutation, Verdict, tuple[Finding, ...]], ...]:
    """Return each defect of one object with what both judges say; asked twice, judged once."""
    found = []
    for mutation in mutations(CLEAN_OBJECTS[name]):
        content = file_bytes(mutation.dataset)
        found.append((mutation, verdict(content), check_bytes(content).findings))
    return tuple(found)


@pytest.mark.parametrize("name", CLEAN_OBJECTS)
def test_an_object_without_fault_is_clean_for_both(name):
    dataset = CLEAN_OBJECTS[name]()
    content = file_bytes(dataset)
    assert verdict(content).errors == frozenset()
    assert check_bytes(content).findings == ()
    assert check_dataset(dataset) == ()


@pytest.mark.parametrize("name", CLEAN_OBJECTS)
def test_what_dciodvfy_finds_in_attributes_deleted_or_emptied_is_found(name):
    counts, missed, unexplained = Counter(), [], []
    for mutation, theirs, ours in judged(name):
        if theirs.crashed:
            counts["no verdict"] += 1
            continue
        counts[bool(theirs.errors), bool(ours)] += 1
        if theirs.errors and not ours:
            missed.append((mutation.kind, mutation.path, sorted(theirs.errors)))
        if ours and not theirs.errors and only_ours_reason(_last(mutation.path)) is None:
            unexplained.append((mutation.kind, mutation.path, ours))
    assert missed == []
    assert unexplained == []
    assert counts[True, True] >= LEAST_DEFECTS[name]


@pytest.mark.parametrize(("name", "parents"), PLACES_TO_ADD)
def test_what_dciodvfy_finds_in_attributes_added_is_found(name, parents):
    missed, unexplained = [], []
    for addition in additions(CLEAN_OBJECTS[name], parents):
        content = file_bytes(addition.dataset)
        theirs = verdict(content)
        ours = [finding for finding in check_bytes(content).findings if finding.severity is Severity.ERROR]
        keyword = addition.rule.keyword
        if theirs.crashed:
            continue
        if theirs.errors and not ours and keyword not in ONLY_THEIRS:
            missed.append((addition.path, sorted(theirs.errors)))
        if ours and not theirs.errors and only_ours_reason(keyword) is None:
            unexplained.append((addition.path, ours))
    assert missed == []
    assert unexplained == []


@pytest.mark.parametrize("name", CLEAN_OBJECTS)
def test_the_finding_names_the_attribute_that_was_deleted(name):
    """Both judges read other modules, so the attribute is compared, not the words."""
    wrong = []
    for mutation, theirs, ours in judged(name):
        if mutation.kind != "deleted":
            continue
        keyword = _last(mutation.path)
        named = {
            match for error in theirs.errors for match in re.findall(r"Missing attribute .*Element=<(\w+)>", error)
        }
        told = any(f".{keyword} is missing" in f".{finding.message}" for finding in ours)
        if named == {keyword} and not told:
            wrong.append((mutation.path, ours))
    assert wrong == []


def _last(path: str) -> str:
    return path.rsplit(".", maxsplit=1)[-1].split("[", maxsplit=1)[0]
