"""A finding may state the UID under which it is followed from visit to visit."""

from __future__ import annotations

import pytest

from gateway.errors.document import DuplicateIdError, UidNotValidError
from tests.unit.mapping.conftest import Reader

UID = "2.25.81920733551040011277"


def test_the_uid_arrives_and_may_be_left_out(read: Reader, smallest: str) -> None:
    text = (
        smallest
        + f"findings: [{{id: a, eye: left, what: mass, tracking_uid: {UID}}}, {{id: b, eye: left, what: cyst}}]\n"
    )
    assert [finding.tracking_uid for finding in read(text).exam.findings] == [UID, ""]


@pytest.mark.parametrize("wrong", ["3.1", "1.02", "lesion-1", "1." + "2" * 64])
def test_what_is_no_uid_holds_the_finding(read: Reader, smallest: str, wrong: str) -> None:
    mapped = read(smallest + f"findings: [{{id: a, eye: left, what: mass, tracking_uid: '{wrong}'}}]\n")
    assert mapped.exam.findings == ()
    assert [type(part.reason) for part in mapped.held] == [UidNotValidError]


def test_one_uid_at_two_findings_holds_both(read: Reader, smallest: str) -> None:
    row = f"eye: left, what: mass, tracking_uid: {UID}"
    mapped = read(smallest + f"findings: [{{id: a, {row}}}, {{id: b, {row}}}, {{id: c, eye: left, what: cyst}}]\n")
    assert [finding.id for finding in mapped.exam.findings] == ["c"]
    assert [type(part.reason) for part in mapped.held] == [DuplicateIdError, DuplicateIdError]
    assert "findings[1].tracking_uid" in str(mapped.held[0].reason)
