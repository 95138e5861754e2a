"""Rows of records, and what stands in their fields."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

from gateway.errors import GatewayError, Place
from gateway.errors.mapping import MappingRuleError, RecordNotUsableError
from gateway.mapping.located.hl7_fields import hl7_field, hl7_person_name
from gateway.mapping.located.tree import LocatedDocument, Node, Position, Row, Scalar, Table
from gateway.mapping.sources.files import RecordFile, SourceFiles
from gateway.mapping.sources.language import RecordKind
from gateway.mapping.sources.rules import RecordSpec, Source, SourceMapping

MOST_ROWS = 20_000
_OWN_TEXT = "#text"
"""Key of an element's text beside attributes and children, as the XML reader writes it."""
_SEPARATORS = {RecordKind.DICOM: ".", RecordKind.CSV: ""}
NAMES_IN_HL7 = {"name": "alphabetic", "ideographic": "ideographic", "phonetic": "phonetic"}
"""What may stand behind the path of a person's field, as in ``PID-5:name``, and which representation it means."""
_NUMBERED = re.compile(r"(.*)\[([1-9][0-9]{0,5})\]")


@dataclass(frozen=True, slots=True, eq=False)
class RecordRow:
    """One row: a line of a CSV, a repeated element, or a whole message.

    Parameters
    ----------
    number : int
        Among the rows of its record, from 1.
    """

    spec: RecordSpec
    file: RecordFile
    number: int
    node: Node

    @property
    def place(self) -> Place:
        """Where it begins."""
        return _place(self.file.name, self.node.position)

    def texts(self, name: str) -> list[tuple[str, Place]]:
        """Return what stands in a field, without space around it; empty where nothing does.

        Raises
        ------
        DocumentError
            For a field of an HL7 message that leaves open which of several it means.
        """
        if self.spec.kind is RecordKind.HL7:
            return _hl7_texts(self.node, name, self.file.name)
        return texts_at(self.node, name, self.file.name, _SEPARATORS.get(self.spec.kind, "/"))

    def nearest(self, name: str) -> str:
        """Return a field like this one that the row does have, or nothing."""
        is_hl7 = self.spec.kind is RecordKind.HL7
        return "" if is_hl7 else nearest_name(self.node, name, _SEPARATORS.get(self.spec.kind, "/"))


def _hl7_texts(message: Node, name: str, file: str) -> list[tuple[str, Place]]:
    path, _, representation = name.partition(":")
    found = hl7_field(message, path, file) if not representation else None
    if representation:
        found = hl7_person_name(message, path, file).get(NAMES_IN_HL7[representation])
    return [(found.text.strip(), _place(file, found.position))] if found and found.text.strip() else []


def texts_at(node: Node, name: str, file: str, separator: str) -> list[tuple[str, Place]]:
    """Return the texts at a path inside a node, each with its place.

    Parameters
    ----------
    name : str
        Steps divided by `separator`; ``step[2]`` is the second of several. Where several stand and none is numbered,
        all are returned. An empty separator makes the whole name one key.
    """
    found = [node]
    for step in name.split(separator) if separator else [name]:
        found = [inner for each in found for inner in _step(each, step, is_plain=not separator)]
    return [
        (scalar.text.strip(), _place(file, scalar.position))
        for each in found
        for scalar in _scalars(each)
        if scalar.text.strip() and not scalar.is_nothing
    ]


def nearest_name(node: Node, name: str, separator: str) -> str:
    """Return a path like this one that a node does have, where one step of it was misspelt; else nothing."""
    steps = name.split(separator) if separator else [name]
    for number, step in enumerate(steps):
        inner = next(_step(node, step, is_plain=not separator), None)
        if inner is None:
            known = list(node.entries) if isinstance(node, Table) else []
            near = get_close_matches(step[:80], known[:200], n=1, cutoff=0.7)
            return separator.join([*steps[:number], near[0], *steps[number + 1 :]]) if near else ""
        node = inner
    return ""


def _step(node: Node, step: str, *, is_plain: bool) -> Iterator[Node]:
    numbered = None if is_plain else _NUMBERED.fullmatch(step)
    for table in node.items if isinstance(node, Row) else (node,):
        entry = table.entries.get(numbered[1] if numbered else step) if isinstance(table, Table) else None
        if entry is None:
            continue
        if numbered is None:
            yield entry.value
            continue
        several: Sequence[Node] = entry.value.items if isinstance(entry.value, Row) else (entry.value,)
        if int(numbered[2]) <= len(several):
            yield several[int(numbered[2]) - 1]


def _scalars(node: Node) -> Iterator[Scalar]:
    if isinstance(node, Scalar):
        yield node
    elif isinstance(node, Row):
        for item in node.items:
            yield from _scalars(item)
    elif _OWN_TEXT in node.entries:
        yield from _scalars(node.entries[_OWN_TEXT].value)


def _place(file: str, position: Position) -> Place:
    return Place(file, position.line, position.column)


def rows_of(mapping: SourceMapping, files: SourceFiles, problems: list[GatewayError]) -> dict[str, list[RecordRow]]:
    """Return the rows of every record by its id; note records that are missing, empty or without a named field."""
    found: dict[str, list[RecordRow]] = {}
    for spec in mapping.records:
        rows: list[RecordRow] = []
        for file in files.records.get(spec.id, ()):
            nodes = _repeated(file.document, spec.at)
            rows += [RecordRow(spec, file, len(rows) + n, node) for n, node in enumerate(nodes, 1)]
        found[spec.id] = rows
        if not files.records.get(spec.id):
            if not spec.is_optional:
                fix = "copy it into the folder, or write optional: yes"
                where = replace(spec.place, field=spec.id)
                problems.append(
                    RecordNotUsableError("no file of the record is there", where=where, was=spec.file, fix=fix)
                )
        elif not rows and not spec.is_optional:
            file = files.records[spec.id][0]
            fix = f"check rows.at of record {spec.id} ({spec.place.file}:{spec.place.line}), or write optional: yes"
            where = Place(file.name)
            problems.append(RecordNotUsableError("the record has no rows", where=where, was=spec.at, fix=fix))
        if len(rows) > MOST_ROWS:
            where = Place(files.records[spec.id][0].name)
            fix = f"at most {MOST_ROWS}"
            problems.append(RecordNotUsableError("too many rows", where=where, was=str(len(rows)), fix=fix))
            found[spec.id] = rows[:MOST_ROWS]
    for source in _sources(mapping):
        _check_heading(source, found, problems)
    return found


def _repeated(document: LocatedDocument, at: str) -> list[Node]:
    nodes = [document.root]
    for step in at.split("/") if at else []:
        nodes = [inner for each in nodes for inner in _step(each, step, is_plain=False)]
    flat: list[Node] = []
    for node in nodes:
        flat.extend(node.items if isinstance(node, Row) else (node,))
    return flat


def _sources(mapping: SourceMapping) -> Iterator[Source]:
    for rule in mapping.rules:
        yield from rule.sources
    yield from mapping.exams_by


def _check_heading(source: Source, rows: dict[str, list[RecordRow]], problems: list[GatewayError]) -> None:
    """Note a column that a CSV does not have: it would leave its field empty in every exam without a word."""
    of_record = rows.get(source.record) or []
    if not of_record or of_record[0].spec.kind is not RecordKind.CSV or not isinstance(of_record[0].node, Table):
        return
    known = list(of_record[0].node.entries)
    for name in (*source.names, *((source.said_by,) if source.said_by else ())):
        if name not in known:
            near = get_close_matches(name, known, n=1)
            fix = f"did you mean {near[0]}?" if near else f"its columns: {', '.join(known[:20])}"
            what = f"{of_record[0].file.name} has no such column"
            problems.append(MappingRuleError(what, where=source.place, was=name[:80], fix=fix))
