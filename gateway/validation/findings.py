"""What the checker has to say about an object."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding weighs."""

    ERROR = "error"
    """Breaks the Standard in every edition that the tables know."""
    WARNING = "warning"
    """Breaks it in some editions only, or is likely to be a slip."""
    NOTE = "note"
    """Worth knowing; nothing is broken."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as the Standard wants it.

    Parameters
    ----------
    code : str
        Stable slug; ``gateway explain CODE`` tells what the rule is for.
    attribute : str
        Path in tags, items counted from 1, e.g. ``(0018,6011)[1].(0018,602C)``; empty for the whole file.
    message : str
        Keyword path, what it is and what it should be. Never the value of a patient attribute.
    section : str
        E.g. ``PS3.3 C.8.5.5``.
    edition : str
        Edition of the Standard that the rule was taken from.
    """

    severity: Severity
    code: str
    attribute: str
    message: str
    section: str
    edition: str


@dataclass(frozen=True, slots=True)
class FileReport:
    """The result of checking one file.

    Parameters
    ----------
    sop_class_uid, transfer_syntax_uid : str
        Empty where the file does not tell.
    """

    sop_class_uid: str = ""
    transfer_syntax_uid: str = ""
    findings: tuple[Finding, ...] = field(default=())

    @property
    def has_errors(self) -> bool:
        """Whether any finding is an error."""
        return any(finding.severity is Severity.ERROR for finding in self.findings)
