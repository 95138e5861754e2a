"""``gateway check``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gateway.cli import console

if TYPE_CHECKING:
    from gateway.validation import Finding


def check(
    paths: Annotated[list[Path], typer.Argument(help="DICOM files, or folders of them.")],
    json_output: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """Check DICOM files against the Standard.

    Attribute types of the modules, each finding with its section.
    """
    from gateway.validation import Severity, check_file

    files = [file for path in paths for file in _files(path)]
    results = [(file, check_file(file)) for file in files]
    if json_output:
        content = [
            {"file": str(file), "sop_class": report.sop_class_uid, "findings": [_as_json(f) for f in report.findings]}
            for file, report in results
        ]
        console.print_json({"files": content, "exam": []})
    else:
        for file, report in results:
            for finding in report.findings:
                console.print_lines(
                    f"{file}: {finding.severity.value}[{finding.code}] {finding.attribute}: {finding.message}"
                    f" ({finding.section}, {finding.edition})"
                )
        wrong = sum(bool(report.findings) for _, report in results)
        console.print_lines(f"{len(results)} {'file' if len(results) == 1 else 'files'}, {wrong} with findings")
    errors = any(f.severity is Severity.ERROR for _, report in results for f in report.findings)
    raise typer.Exit(1 if errors else 0)


def _files(path: Path) -> list[Path]:
    return sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]


def _as_json(finding: Finding) -> dict[str, str]:
    return {
        "severity": finding.severity.value,
        "code": finding.code,
        "attribute": finding.attribute,
        "message": finding.message,
        "section": finding.section,
        "edition": finding.edition,
    }
