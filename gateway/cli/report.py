"""``gateway report``: a measurement report or an exam, for reading."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gateway.cli import console


def report(
    source: Annotated[
        Path, typer.Argument(metavar="FILE|EXAM", help="A structured report (DICOM SR), ours or not, or an exam.")
    ],
    out: Annotated[
        Path | None, typer.Option(help="Folder for report.pdf and report.html; of an exam also contact-sheet.png.")
    ] = None,
    text: Annotated[bool, typer.Option("--text", help="Print the text also where files are written.")] = False,
    json_output: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of the text.")] = False,
    settings: Annotated[
        Path | None, typer.Option("--settings", help="Settings file [default: gateway.toml if there]")
    ] = None,
) -> None:
    """Show a measurement report or an exam for reading; nothing is built and nothing is sent.

    What of a report is not understood stands below its tables.
    """
    from gateway.app import readable

    site = console.read_site_settings(settings)
    with console.progress(quiet=True) as note:
        shown = readable(source, site, note)
    if out is not None:
        written = shown.write(out)
    if json_output:
        console.print_json(shown.as_json())
    elif text or out is None:
        console.print_lines(shown.text().rstrip("\n"))
    if out is not None and not json_output:
        console.print_lines(*(f"written: {path}" for path in written))
    raise typer.Exit(1 if shown.has_notes else 0)
