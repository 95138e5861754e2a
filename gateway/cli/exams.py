"""``gateway build`` and ``gateway deliver``: an exam folder to DICOM files, or to a confirmed archive."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gateway.cli import console

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gateway.pipeline.line import PreparedExam
    from gateway.pipeline.queue import Delivery

Exam = Annotated[Path, typer.Argument(help="Exam folder, or the exam document in it.")]
SettingsFile = Annotated[Path | None, typer.Option("--settings", help="Settings file [default: gateway.toml if there]")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of tables.")]


def build(
    exam: Exam,
    out: Annotated[Path, typer.Option(help="Folder for the DICOM files and the readable report.")],
    settings: SettingsFile = None,
    json_output: AsJson = False,
) -> None:
    """Build and check an exam's DICOM objects.

    They, the readable report and a list of where each attribute's value came from (origins.json) are written to a
    folder; nothing is sent.
    """
    from gateway.app import open_gateway, write_origins, write_readable

    site = console.read_site_settings(settings)
    with console.progress(quiet=json_output) as note, open_gateway(site, note) as gateway:
        prepared = gateway.prepare(exam)
        write_readable(prepared, out)
        for item in prepared.objects:
            target = out / "dicom" / f"{item.built.sop_instance_uid}.dcm"
            target.parent.mkdir(exist_ok=True)
            shutil.copyfile(item.built.path, target)
            item.built.path.unlink(missing_ok=True)
        write_origins(prepared, out / "origins.json")
    _show(prepared, None, json_output=json_output)
    if not json_output:
        console.print_lines(
            f"{len(prepared.objects)} objects in {out / 'dicom'}, report in {out / 'report.pdf'}, "
            f"where each value came from in {out / 'origins.json'}"
        )
    raise typer.Exit(_exit_code(prepared, None))


def deliver(
    exam: Exam,
    to: Annotated[str, typer.Option(help="Name of the destination [default: the only one in the settings]")] = "",
    again: Annotated[bool, typer.Option(help="Send also what already arrived.")] = False,
    settings: SettingsFile = None,
    json_output: AsJson = False,
) -> None:
    """Take an exam all the way to a confirmed archive.

    Build, check, send, and prove that it arrived.
    """
    from gateway.app import open_gateway

    site = console.read_site_settings(settings)
    with console.progress(quiet=json_output) as note, open_gateway(site, note) as gateway:
        destination = gateway.destination(to)
        prepared = gateway.prepare(exam)
        deliveries = gateway.deliver(prepared, destination, again=again)
    _show(prepared, deliveries, json_output=json_output)
    raise typer.Exit(_exit_code(prepared, deliveries))


def _show(prepared: PreparedExam, deliveries: Sequence[Delivery] | None, *, json_output: bool) -> None:
    from gateway.cli import views
    from gateway.cli.a_scan_views import a_scan_tables

    tables: list[tuple[str, Sequence[str], list[list[str]]]] = [
        ("Captures", views.CAPTURE_HEADINGS, views.capture_rows(prepared)),
        ("Measurements", views.MEASUREMENT_HEADINGS, views.measurement_rows(prepared.measured.values)),
        *a_scan_tables(prepared),
    ]
    if deliveries is None:
        tables.append(("Objects", views.BUILT_HEADINGS, views.built_rows(prepared.objects)))
    else:
        by_uid = {delivery.sop_instance_uid: delivery for delivery in deliveries}
        tables.append(("Objects", views.OBJECT_HEADINGS, views.object_rows(prepared.objects, by_uid)))
    findings = [
        f"{item.built.capture_id or item.built.kind.value}: {finding.severity.value} {finding.code} "
        f"{finding.attribute}: {finding.message} ({finding.section})"
        for item in prepared.objects
        for finding in item.findings
    ]
    if json_output:
        content: dict[str, object] = {"study_instance_uid": prepared.study_instance_uid}
        for title, headings, rows in tables:
            content[title.lower()] = [dict(zip(headings, row, strict=True)) for row in rows]
        console.print_json(content | {"findings": findings, "held": views.held_lines(prepared)})
        return
    for title, headings, rows in tables:
        console.print_table(title, headings, rows)
    console.print_lines(*findings, *views.held_lines(prepared))


def _exit_code(prepared: PreparedExam, deliveries: Sequence[Delivery] | None) -> int:
    """0 where everything went all the way, 4 where an archive did not take it, 1 where something was held or found."""
    if deliveries is not None and any(d.state.value not in {"committed", "listed"} for d in deliveries):
        return 4
    return 1 if prepared.held or any(item.errors for item in prepared.objects) else 0
