"""Rules between attributes: what each may say is in the tables, what they must say together is here."""

from __future__ import annotations

from collections.abc import Iterator

from gateway.validation.consistency import documents, frames, identifiers, pixels, ultrasound
from gateway.validation.findings import Finding
from gateway.validation.scope import Scope

__all__ = ["check_consistency"]


def check_consistency(scope: Scope) -> Iterator[Finding]:
    """Yield what the attributes of one object contradict each other in."""
    yield from identifiers.check(scope)
    yield from pixels.check(scope)
    yield from frames.check(scope)
    yield from ultrasound.check(scope)
    yield from documents.check(scope)
