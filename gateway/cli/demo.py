"""``gateway demo``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gateway.cli import console

if TYPE_CHECKING:
    from gateway.app import Demonstration

INVENTED = "Everything in this demo is invented: clinic, people, device, pictures and numbers."


def demo(
    out: Annotated[Path, typer.Option(help="Folder to leave the results in.")] = Path("demo-output"),
    json_output: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of tables.")] = False,
) -> None:
    """Run the whole line on an invented exam.

    It ends at an archive of the demo's own on this machine's loopback, with storage commitment.
    """
    from gateway.app import demonstrate
    from gateway.settings import Settings

    with console.progress(quiet=json_output) as note:
        shown = demonstrate(out, Settings(), note)
    if json_output:
        console.print_json(_as_json(shown))
    else:
        _print(shown)
    raise typer.Exit(0 if _all_committed(shown) else 1)


def _print(shown: Demonstration) -> None:
    from gateway.cli import views
    from gateway.cli.a_scan_views import a_scan_tables

    prepared = shown.prepared
    deliveries = {delivery.sop_instance_uid: delivery for delivery in shown.deliveries}
    console.print_lines("", INVENTED, "")
    console.print_table("Captures", views.CAPTURE_HEADINGS, views.capture_rows(prepared))
    values = prepared.measured.values
    console.print_table("Measurements", views.TRUTH_HEADINGS, views.truth_rows(values, shown.truth_mm))
    for title, headings, rows in a_scan_tables(prepared):
        console.print_table(title, headings, rows)
    console.print_table("Objects", views.OBJECT_HEADINGS, views.object_rows(prepared.objects, deliveries))
    console.print_lines(*views.coverage_lines(prepared), *views.held_lines(prepared))
    arrived = sum(delivery.state.value == "committed" for delivery in shown.deliveries)
    console.print_lines(
        f"{arrived} of {len(prepared.objects)} objects committed by {shown.archive_name}",
        f"Study {prepared.study_instance_uid}",
        "",
        "Open:",
        *(f"  {path}" for path in _paths(shown)),
    )


def _paths(shown: Demonstration) -> list[Path]:
    names = "report.pdf", "report.html", "contact-sheet.png", "archive", "exam"
    return [shown.folder / name for name in names]


def _all_committed(shown: Demonstration) -> bool:
    states = {delivery.state.value for delivery in shown.deliveries}
    return states == {"committed"} and len(shown.deliveries) == len(shown.prepared.objects)


def _as_json(shown: Demonstration) -> dict[str, object]:
    from gateway.cli import views
    from gateway.cli.a_scan_views import a_scan_tables

    prepared = shown.prepared
    deliveries = {delivery.sop_instance_uid: delivery for delivery in shown.deliveries}
    tables = {
        "captures": (views.CAPTURE_HEADINGS, views.capture_rows(prepared)),
        "measurements": (views.TRUTH_HEADINGS, views.truth_rows(prepared.measured.values, shown.truth_mm)),
        **{title.lower(): (headings, rows) for title, headings, rows in a_scan_tables(prepared)},
        "objects": (views.OBJECT_HEADINGS, views.object_rows(prepared.objects, deliveries)),
    }
    return {
        "invented": INVENTED,
        "study_instance_uid": prepared.study_instance_uid,
        **{name: [dict(zip(keys, row, strict=True)) for row in rows] for name, (keys, rows) in tables.items()},
        "coverage": views.coverage_lines(prepared),
        "held": views.held_lines(prepared),
        "paths": [str(path) for path in _paths(shown)],
    }
