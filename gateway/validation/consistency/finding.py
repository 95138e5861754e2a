"""How the rules of this package word a finding."""

from __future__ import annotations

from typing import Final

from gateway.validation.elements import tag, tag_text
from gateway.validation.findings import Finding, Severity

EDITION: Final = "2024e"


def found(code: str, keyword: str, message: str, section: str, *, within: tuple[tuple[str, int], ...] = ()) -> Finding:
    """Return an error at an attribute.

    Parameters
    ----------
    keyword : str
        The attribute that would have to change.
    message : str
        What it is and what it should be; the keyword path is put before it.
    within : tuple of (str, int)
        Keywords and item numbers of the sequences around it.
    """
    return _finding(Severity.ERROR, code, keyword, message, section, within)


def doubt(code: str, keyword: str, message: str, section: str, *, within: tuple[tuple[str, int], ...] = ()) -> Finding:
    """Return a warning at an attribute; parameters as of `found`."""
    return _finding(Severity.WARNING, code, keyword, message, section, within)


def _finding(
    severity: Severity, code: str, keyword: str, message: str, section: str, within: tuple[tuple[str, int], ...]
) -> Finding:
    tags = [f"{tag_text(tag(name))}[{number}]" for name, number in within]
    names = [f"{name}[{number}]" for name, number in within]
    return Finding(
        severity=severity,
        code=code,
        attribute=".".join((*tags, tag_text(tag(keyword)))),
        message=f"{'.'.join((*names, keyword))} {message}",
        section=section,
        edition=EDITION,
    )
