"""``gateway build`` and ``gateway deliver``: an exam folder to DICOM files, or to a confirmed archive."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gateway.cli import console

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gateway.pipeline.line import PreparedExam
    from gateway.pipeline.queue import Delivery
    from gateway.pipeline.study_record import Superseded

Exam = Annotated[Path, typer.Argument(help="Exam folder, a ZIP archive of it, or the exam document in it.")]
SettingsFile = Annotated[Path | None, typer.Option("--settings", help="Settings file [default: gateway.toml if there]")]
MappingFile = Annotated[
    Path | None,
    typer.Option("--mapping", help="How a folder without an exam document is read [default: the settings' one]"),
]
OneWitness = Annotated[
    bool, typer.Option("--single-eye-witness", help="Accept an eye that one source alone names; the report says so.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of tables.")]


def build(
    exam: Exam,
    out: Annotated[Path, typer.Option(help="Folder for the DICOM files and the readable report.")],
    to: Annotated[str, typer.Option(help="Build the variant of this destination [default: the plain one]")] = "",
    settings: SettingsFile = None,
    mapping: MappingFile = None,
    single_eye_witness: OneWitness = False,
    json_output: AsJson = False,
) -> None:
    """Build and check an exam's DICOM objects.

    They, the readable report and a list of where each attribute's value came from (origins.json) are written to a
    folder; nothing is sent.
    """
    from gateway.app import open_gateway, write_origins, write_readable

    site = console.with_mapping(
        console.read_site_settings(settings, single_eye_witness=single_eye_witness), mapping, exam
    )
    results = []
    with console.progress(quiet=json_output) as note, open_gateway(site, note) as gateway:
        destination = gateway.destination(to) if to else None
        folders = gateway.read_all(exam)
        for folder in folders:
            prepared = gateway.prepare_read(folder, destination)
            results.append(prepared)
            target = out if len(folders) == 1 else out / folder.exam.key
            write_readable(prepared, target)
            for item in prepared.objects:
                file = target / "dicom" / f"{item.built.sop_instance_uid}.dcm"
                file.parent.mkdir(exist_ok=True)
                shutil.copyfile(item.built.path, file)
                item.built.path.unlink(missing_ok=True)
            write_origins(prepared, target / "origins.json")
    _show_all([_Result(prepared) for prepared in results], json_output=json_output)
    if not json_output:
        below = out if len(results) == 1 else out / "*"
        console.print_lines(
            f"{sum(len(prepared.objects) for prepared in results)} objects in {below / 'dicom'}, "
            f"report in {below / 'report.pdf'}, where each value came from in {below / 'origins.json'}"
        )
    raise typer.Exit(max(_exit_code(prepared, None) for prepared in results))


def deliver(
    exam: Exam,
    to: Annotated[str, typer.Option(help="Name of the destination [default: the only one in the settings]")] = "",
    again: Annotated[bool, typer.Option(help="Send also what already arrived.")] = False,
    settings: SettingsFile = None,
    mapping: MappingFile = None,
    single_eye_witness: OneWitness = False,
    json_output: AsJson = False,
) -> None:
    """Take an exam all the way to a confirmed archive.

    Build, check, send, and prove that it arrived.
    """
    from gateway.app import open_gateway

    site = console.with_mapping(
        console.read_site_settings(settings, single_eye_witness=single_eye_witness), mapping, exam
    )
    results = []
    with console.progress(quiet=json_output) as note, open_gateway(site, note) as gateway:
        destination = gateway.destination(to)
        for folder in gateway.read_all(exam):
            prepared = gateway.prepare_read(folder, destination)
            deliveries = gateway.deliver(prepared, destination, again=again)
            results.append(_Result(prepared, deliveries, gateway.superseded(prepared, destination)))
    _show_all(results, json_output=json_output)
    raise typer.Exit(max(_exit_code(each.prepared, each.deliveries) for each in results))


@dataclass(frozen=True, slots=True)
class _Result:
    """What came of one exam; `deliveries` is None where nothing was to be sent."""

    prepared: PreparedExam
    deliveries: Sequence[Delivery] | None = None
    superseded: Sequence[Superseded] = ()


def _show_all(results: Sequence[_Result], *, json_output: bool) -> None:
    """Show what came of each exam; the JSON of one alone is that exam's, of several a list."""
    shown = [_show(each.prepared, each.deliveries, each.superseded, json_output=json_output) for each in results]
    if json_output:
        console.print_json(shown[0] if len(shown) == 1 else {"exams": shown})


def _show(
    prepared: PreparedExam,
    deliveries: Sequence[Delivery] | None,
    superseded: Sequence[Superseded] = (),
    *,
    json_output: bool,
) -> dict[str, object]:
    """Print what came of one exam, or return it where JSON is wanted."""
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
        replaced = views.superseded_lines(superseded)
        said = {"findings": findings, "held": views.held_lines(prepared), "superseded": replaced}
        said["coverage"] = views.coverage_lines(prepared)
        return content | said | {"notes": list(prepared.notes)}
    for title, headings, rows in tables:
        console.print_table(title, headings, rows)
    console.print_lines(*findings, *views.coverage_lines(prepared))
    console.print_lines(*views.held_lines(prepared), *views.superseded_lines(superseded))
    console.print_lines(*(f"note: {note}" for note in prepared.notes))
    return {}


def _exit_code(prepared: PreparedExam, deliveries: Sequence[Delivery] | None) -> int:
    """0 where everything went all the way, 4 where an archive did not take it, 1 where something was held or found."""
    if deliveries is not None and any(d.state.value not in {"committed", "listed"} for d in deliveries):
        return 4
    return 1 if prepared.held or any(item.errors for item in prepared.objects) else 0
