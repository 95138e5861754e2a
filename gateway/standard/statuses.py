"""What the answers of other systems mean: C-STORE statuses, association rejections, commitment failures.

Values are those of edition 2024e: PS3.4 B.2.3 and PS3.7 Annex C (C-STORE), PS3.8 9.3.4 Table 9-21 (A-ASSOCIATE-RJ),
PS3.3 C.14.1.1 (Failure Reason of storage commitment). What to do about each is this project's choice.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources
from typing import Any


class StoreVerdict(StrEnum):
    """What one C-STORE attempt means for the instance."""

    STORED = "STORED"
    STORED_WITH_WARNING = "STORED_WITH_WARNING"
    RETRY = "RETRY"
    """Surely not stored; the same object may be stored later."""
    REFUSED = "REFUSED"
    """Surely not stored; somebody has to change something first."""
    UNKNOWN = "UNKNOWN"
    """It may be stored or not: send it again on a new association under the same UID."""


@dataclass(frozen=True, slots=True)
class StatusRule:
    """One C-STORE status, or a range of them.

    Parameters
    ----------
    first, last : int
        The range of codes, both inclusive.
    name : str
        What the status says, in plain words.
    verdict : StoreVerdict
        What it means for the instance.
    retries : int or None
        How many further tries make sense where the verdict is RETRY; None: until somebody stops it.
    action : str
        What follows from it.
    section : str
        Where the Standard defines it; empty for a code that it does not define.
    """

    first: int
    last: int
    name: str
    verdict: StoreVerdict
    retries: int | None
    action: str
    section: str


@dataclass(frozen=True, slots=True)
class RejectionReason:
    """One reason of an A-ASSOCIATE-RJ (PS3.8 9.3.4, Table 9-21)."""

    source: int
    reason: int
    name: str
    fix: str


@dataclass(frozen=True, slots=True)
class CommitmentFailure:
    """One Failure Reason (0008,1197) of storage commitment (PS3.3 C.14.1.1)."""

    code: int
    name: str
    action: str


@cache
def _content() -> dict[str, Any]:
    text = resources.files("gateway.standard").joinpath("data/statuses.json").read_text(encoding="utf-8")
    content: dict[str, Any] = json.loads(text)
    return content


@cache
def store_status_rules() -> tuple[StatusRule, ...]:
    """Return every rule for C-STORE statuses, the particular before the general."""
    return tuple(
        StatusRule(
            first=int(row["first"], 16),
            last=int(row["last"], 16),
            name=row["name"],
            verdict=StoreVerdict(row["verdict"]),
            retries=row.get("retries") if row["verdict"] == "RETRY" else 0,
            action=row["action"],
            section=row["section"],
        )
        for row in _content()["store"]
    )


def store_status(code: int) -> StatusRule:
    """Return the rule for one C-STORE status code.

    A code that the Standard does not define has the verdict UNKNOWN: nobody knows what the peer meant by it.
    """
    for rule in store_status_rules():
        if rule.first <= code <= rule.last:
            return rule
    return StatusRule(
        first=code,
        last=code,
        name="a status that the Standard does not define",
        verdict=StoreVerdict.UNKNOWN,
        retries=0,
        action="outcome unknown; send again on a new association under the same UID",
        section="",
    )


@cache
def _rejections() -> dict[tuple[int, int], RejectionReason]:
    return {(row["source"], row["reason"]): RejectionReason(**row) for row in _content()["rejection"]}


def rejection_reason(source: int, reason: int) -> RejectionReason:
    """Return why an association was rejected, by the Source and Reason of its A-ASSOCIATE-RJ."""
    known = _rejections().get((source, reason))
    if known:
        return known
    return RejectionReason(source, reason, "a reason that the Standard reserves", "ask the peer's administrator")


@cache
def _commitment_failures() -> dict[int, CommitmentFailure]:
    return {
        int(row["code"], 16): CommitmentFailure(int(row["code"], 16), row["name"], row["action"])
        for row in _content()["commitment"]
    }


def commitment_failure(code: int) -> CommitmentFailure:
    """Return what a Failure Reason of storage commitment says."""
    known = _commitment_failures().get(code)
    if known:
        return known
    return CommitmentFailure(code, "a reason that the Standard does not define", "alert: read the archive's log")
