"""``gateway mapping``: check a source mapping, explain what came of one, list the conversions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gateway.cli import console
from gateway.cli.exams import AsJson, Exam, MappingFile, OneWitness, SettingsFile

if TYPE_CHECKING:
    from gateway.pipeline.explanation import ExplainedObject

HELP = """\
Map a site's own files to an exam: bitmaps, movies and DICOM objects, tables, XML and orders beside them, and names that
mean something. A mapping is one YAML file; no code.

\b
1. Copy the nearest example of mappings/sources and give it your files and words.
2. gateway mapping check site.yaml              every problem with its line
3. gateway build FOLDER --out out --mapping site.yaml
4. gateway mapping explain FOLDER --mapping site.yaml      where each attribute came from
5. mapping = "site.yaml" under [site] of gateway.toml; from now on gateway deliver FOLDER

\b
format: eye-ultrasound-source/1
name: my-clinic
records:                          # files beside the pictures that carry data
  - id: list                      # the name that rules use
    file: "*.csv"                 # * and ? as in a shell, below the folder
    kind: csv                     # csv, xml, hl7, json, yaml, dicom
    encoding: windows-1252        # utf-8 where left out
    delimiter: ";"
    rows: {per: capture}          # exam, capture, measurement or finding; at: a/b/c is what repeats in XML, JSON
    match: {field: File, to: file-name}      # or file-stem, same-stem, or a place of the names below
media:
  files: ["*.bmp", "*.avi"]       # these are the captures
  ignore: ["thumb_*"]
  names: ["{eye}_{scan:letters}{hour:digits}_{*}.bmp"]    # each file must fit one; two ways to read it hold it
  frames: frame                   # place that numbers the frames of one loop
folder: "{date:digits:8}_{*}"     # the folder's own name; of a ZIP the one folder in it, else the ZIP's name
terms:                            # your words, and what they mean here
  eyes: {re: right, li: left}
  diagnoses: {Tumor: {code: {value: "1", scheme: 99MY, meaning: Mass}}}
rules:                            # one for each field of the exam document (gateway schema exam)
  - to: patient.id
    from: {record: list, field: PatNo}
    if_missing: stop              # stop, leave-empty, leave-out (hold the capture), no-part (the row states nothing)
    because: their own number
  - to: captures.eye              # several sources: all that state it must agree, or the capture is held
    from: [{record: list, field: Eye}, {file_name: eye}]
    with: {terms: eyes}           # or a conversion: {eye: {languages: [de]}}; several in a list, in order; at one
                                  # source alone: {file_name: eye, with: {terms: eyes}}
  - to: session.start
    from: {record: list, field: [Date, Time]}        # put together, join: " " between
    with: {date_time: {...}}
defaults: {session.examiner: "Lind^Tove"}     # examiner and physicians, where no source names one
destinations: []                  # {destination, attribute, value, because}: what one archive gets otherwise

\b
Places of names:  {x} letters and digits, {x:letters}, {x:digits}, {x:text} anything, {x:digits:2} just two,
                  {*} anything or nothing, not used.
Sources:          {record: id, field: heading or a/b/@c}, {file_name: x}, {folder_name: x}, {dicom: Keyword},
                  {dicom: "Sequence[1].Keyword"}, {order: PID-3.1}, {order: "PID-5:name"}, {constant: text},
                  {record: id, constant: text} for every row of that record.
An eye:           rests on two sources of different kinds that agree, or on a person: said_by: FIELD at its source
                  names who says so. A constant is no source of an eye.
Lists:            number their items from 1: captures.burned_in_text.regions[1].x0. One rule for each field.
Times:            with their offset, a zone, or neither: then session.time_zone or the site's time_zone decides. A clock
                  that ran ahead: one rule to session.device.clock_ahead_s with the seconds, and nothing else.
Several exams:    exams: {by: [...sources of the exam's key...]}; without it a folder holds one.

Conversions and their parameters: gateway mapping conversions.
"""


def check(file: Annotated[Path, typer.Argument(help="The source mapping.")], json_output: AsJson = False) -> None:
    """Check a source mapping: every problem with file, line and column."""
    from gateway.builders.overrides import check_overrides
    from gateway.errors import GatewayError
    from gateway.errors.mapping import SourceMappingError
    from gateway.mapping.sources.reading import load_source_mapping

    problems: tuple[GatewayError, ...] = ()
    try:
        mapping = load_source_mapping(file)
        for name in {override.destination for override in mapping.destinations}:
            check_overrides([override for override in mapping.destinations if override.destination == name])
    except SourceMappingError as error:
        problems = error.problems
    except GatewayError as error:
        problems = (error,)
    if json_output:
        found = [{"code": each.code, "where": str(each.where), "message": str(each)} for each in problems]
        console.print_json({"file": str(file), "problems": found})
    else:
        console.print_lines(*(f"{problem} (gateway explain {problem.code})" for problem in problems))
        console.print_lines(f"{file}: {len(problems) or 'no'} problem{'' if len(problems) == 1 else 's'}")
    raise typer.Exit(3 if problems else 0)


def explain(
    exam: Exam,
    mapping: MappingFile = None,
    of: Annotated[str, typer.Option(help="Only this object: a capture's id, report or document.")] = "",
    settings: SettingsFile = None,
    single_eye_witness: OneWitness = False,
    json_output: AsJson = False,
) -> None:
    """Say of each DICOM attribute where its value came from.

    Value, source, its place, the mapping's rule with its reason, and the section of the Standard. Shows the patient's
    values: keep what it prints as you keep the exam itself. Nothing is sent.
    """
    from gateway.app import open_gateway
    from gateway.pipeline.explanation import explain_exam, unstated_fields

    site = console.with_mapping(
        console.read_site_settings(settings, single_eye_witness=single_eye_witness), mapping, exam
    )
    objects: list[ExplainedObject] = []
    held: list[str] = []
    unstated: list[str] = []
    with console.progress(quiet=json_output) as note, open_gateway(site, note) as gateway:
        for folder in gateway.read_all(exam):
            prepared = gateway.prepare_read(folder)
            objects += explain_exam(prepared, folder.traces)
            unstated += unstated_fields(folder.traces)
            held += [f"{part.name}: {part.reason}" for part in prepared.held]
            for item in prepared.objects:
                item.built.path.unlink(missing_ok=True)
    shown = [each for each in objects if of in {"", each.name}]
    if not shown:
        raise typer.BadParameter(f"there is no object {of!r}; known are {', '.join(each.name for each in objects)}")
    if json_output:
        console.print_json({"objects": [_as_json(each) for each in shown], "held": held, "unstated": unstated})
        return
    for each in shown:
        console.print_table(f"{each.name}  {each.sop_instance_uid}", _HEADINGS, _rows(each))
    console.print_lines(*(f"no value: {line}" for line in unstated), *(f"held: {line}" for line in held))


def conversions(json_output: AsJson = False) -> None:
    """List the conversions with their parameters and examples."""
    from gateway.mapping.conversions import conversions as known
    from gateway.mapping.sources.examples import conversion_examples

    examples = conversion_examples()
    if json_output:
        found = [
            {
                "name": each.name,
                "description": each.description,
                "parameters": dict(each.parameters),
                "examples": [
                    {"with": example.written, "text": example.text, "gives": example.result}
                    for example in examples
                    if example.name == each.name
                ],
            }
            for each in known().values()
        ]
        console.print_json({"conversions": found})
        return
    for each in known().values():
        console.print_lines(each.name, *(f"  {line}".rstrip() for line in each.description.splitlines()))
        for name, words in each.parameters.items():
            console.print_lines(f"  {name}: {words}")
        for example in (example for example in examples if example.name == each.name):
            of = f" ({example.eye.value} eye)" if example.eye else ""
            console.print_lines(f"  with: {example.written}    {example.text!r}{of} gives {example.result!r}")
        console.print_lines("")


_HEADINGS = ("attribute", "value", "field or rule", "source", "at", "mapping", "because", "section")


_MOST_SHOWN = 3


def _rows(explained: ExplainedObject) -> list[list[str]]:
    return [
        [
            each.attribute,
            each.value,
            each.field,
            "\n".join(dict.fromkeys(words for words, _ in each.sources)),
            "\n".join([*(at for _, at in each.sources[:_MOST_SHOWN]), *_more(len(each.sources) - _MOST_SHOWN)]),
            each.rule,
            each.because,
            each.section,
        ]
        for each in explained.attributes
    ]


def _more(count: int) -> list[str]:
    return [f"and {count} more"] if count > 0 else []


def _as_json(explained: ExplainedObject) -> dict[str, object]:
    return {
        "object": explained.name,
        "sop_instance_uid": explained.sop_instance_uid,
        "attributes": [
            {
                "attribute": each.attribute,
                "value": each.value,
                "from": each.field,
                "sources": [{"source": words, "at": where} for words, where in each.sources],
                "rule": each.rule,
                "because": each.because,
                "section": each.section,
            }
            for each in explained.attributes
        ],
    }
