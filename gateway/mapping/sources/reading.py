"""From the file of a source mapping to its checked rules; every problem is collected with its line."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from gateway.errors import GatewayError, Place
from gateway.errors.document import DocumentError, DocumentTooLargeError, FieldMissingError, ValueNotUnderstoodError
from gateway.errors.mapping import MappingError, MappingRuleError, NamePatternError, SourceMappingError
from gateway.mapping.document.base import Fields
from gateway.mapping.document.problems import duplicate_keys, in_order, validated
from gateway.mapping.located.csv_reader import CsvOptions
from gateway.mapping.located.encodings import encoding_named
from gateway.mapping.located.file import read_located
from gateway.mapping.located.tree import Entry, LocatedDocument, Node, Row, Scalar, Table, plain
from gateway.mapping.located.tree import Path as TreePath
from gateway.mapping.sources.checks import Declared, RuleReader
from gateway.mapping.sources.language import (
    MOST_RECORDS,
    MOST_RULES,
    MOST_TERMS,
    MediaFields,
    RecordFields,
    RecordKind,
    RuleFields,
    SourceHeadFields,
    Unmatched,
)
from gateway.mapping.sources.names import NamePattern, PatternError, read_pattern
from gateway.mapping.sources.rules import MediaSpec, RecordSpec, SourceMapping
from gateway.model.coded import TextOrCode
from gateway.model.destination_override import DestinationOverride

F = TypeVar("F", bound=Fields)


def load_source_mapping(path: Path) -> SourceMapping:
    """Read a source mapping (``eye-ultrasound-source/1``, YAML or JSON).

    Raises
    ------
    SourceMappingError
        With every problem that was found, each at its line and column; a mapping is used as a whole or not at all.
    """
    try:
        document = read_located(path)
    except DocumentError as err:
        raise SourceMappingError([err]) from err
    return read_source_mapping(replace(document, file=str(path)))


def read_source_mapping(document: LocatedDocument) -> SourceMapping:
    """Check a mapping that was read as a located tree.

    Raises
    ------
    SourceMappingError
        As `load_source_mapping`.
    """
    if not isinstance(document.root, Table):
        fix = "begin with format: eye-ultrasound-source/1"
        problem = ValueNotUnderstoodError("the mapping has no fields", where=document.place(()), fix=fix)
        raise SourceMappingError([problem])
    reader = _Reader(replace(document, root=_singles_as_lists(document.root)))
    mapping = reader.read()
    if reader.problems or mapping is None:
        raise SourceMappingError(in_order(reader.problems))
    return mapping


class _Reader:
    def __init__(self, document: LocatedDocument) -> None:
        self._document = document
        self.problems: list[GatewayError] = [error for _path, error in duplicate_keys(document)]

    def read(self) -> SourceMapping | None:
        head, problems = validated(self._document, (), SourceHeadFields, ("records", "rules"))
        self.problems += problems
        record_fields = self._parts("records", RecordFields, MOST_RECORDS)
        rule_fields = self._parts("rules", RuleFields, MOST_RULES)
        section = self._document.node(("rules",))
        if section is None or plain(section) in (None, []):
            self._refuse(FieldMissingError, "a required field is missing", ("rules",), fix="write rules: and a list")
        # What the head declares is needed to judge the rules; without it their names would all seem wrong.
        if head is None:
            return None
        patterns = self._patterns(head.media.names, ("media", "names"))
        folder = self._patterns(head.folder, ("folder",))
        records = tuple(self._record(path, fields) for path, fields in record_fields)
        terms = self._terms(head)
        declared = Declared(self._document, records, patterns, folder, terms)
        reader = RuleReader(declared, self.problems)
        for (path, fields), spec in zip(record_fields, records, strict=True):
            reader.check_record(path, fields, spec)
        if head.media.frames:
            reader.check_frames(head.media.frames)
        rules = reader.rules(rule_fields)
        exams_by = tuple(
            source
            for index, item in enumerate(head.exams.by if head.exams else [])
            if (source := reader.source(item, ("exams", "by", index)))
        )
        return SourceMapping(
            file=self._document.file,
            name=head.name,
            because=head.because or "",
            records=records,
            media=_media(head.media, patterns, self._document.place(("media",))),
            folder=folder,
            folder_place=self._document.place(("folder",)),
            exams_by=exams_by,
            rules=rules,
            terms=terms,
            defaults=reader.defaults(head.defaults),
            destinations=tuple(
                DestinationOverride(item.destination, item.attribute, item.value, item.because)
                for item in head.destinations or []
            ),
        )

    def _record(self, path: TreePath, fields: RecordFields) -> RecordSpec:
        csv = CsvOptions()
        try:
            csv = CsvOptions(
                delimiter="," if fields.delimiter is None else fields.delimiter,
                has_header=fields.header is not False,
                skip_lines=fields.skip_lines or 0,
            )
        except MappingError as err:
            self._refuse(type(err), err.what, (*path, "delimiter"), was=err.was, fix=err.fix)
        try:
            encoding_named(fields.encoding or "utf-8", self._document.file)
        except DocumentError as err:
            self._refuse(type(err), err.what, (*path, "encoding"), was=err.was, fix=err.fix)
        if fields.encoding and fields.kind in {RecordKind.XML, RecordKind.DICOM}:
            what = f"{fields.kind.value} states its own encoding"
            self._refuse(MappingRuleError, what, (*path, "encoding"), fix="leave encoding out")
        is_csv = fields.kind is RecordKind.CSV
        for name in ("delimiter", "header", "skip_lines"):
            if getattr(fields, name) is not None and not is_csv:
                self._refuse(MappingRuleError, f"{name} is for CSV alone", (*path, name), fix="leave it out")
        return _spec(fields, self._document.place(path), csv)

    def _parts(self, section: str, model: type[F], most: int) -> list[tuple[TreePath, F]]:
        node = self._document.node((section,))
        if node is None or (isinstance(node, Scalar) and node.is_nothing):
            return []
        if not isinstance(node, Row):
            fix = "write one item a line after -"
            self._refuse(ValueNotUnderstoodError, "a list is expected here", (section,), fix=fix)
            return []
        if len(node.items) > most:
            self._refuse(DocumentTooLargeError, f"too many {section}", (section,), fix=f"at most {most}")
        found: list[tuple[TreePath, F]] = []
        for index in range(min(len(node.items), most)):
            path: TreePath = (section, index)
            fields, problems = validated(self._document, path, model)
            self.problems += problems
            if fields is not None:
                found.append((path, fields))
        return found

    def _patterns(self, texts: Sequence[str] | None, path: TreePath) -> tuple[NamePattern, ...]:
        found = []
        for index, text in enumerate(texts or ()):
            try:
                found.append(read_pattern(text))
            except PatternError as err:
                self._refuse(NamePatternError, err.what, (*path, index), was=err.was[:80], fix=err.fix)
        return tuple(found)

    def _terms(self, head: SourceHeadFields) -> Mapping[str, Mapping[str, TextOrCode]]:
        tables = {}
        for name, table in (head.terms or {}).items():
            if len(table) > MOST_TERMS:
                self._refuse(DocumentTooLargeError, "too many terms", ("terms", name), fix=f"at most {MOST_TERMS}")
            words: dict[str, TextOrCode] = {}
            for word, meaning in table.items():
                folded = word.strip().casefold()
                if folded in words:
                    what = "two terms differ in nothing but their case"
                    self._refuse(ValueNotUnderstoodError, what, ("terms", name, word), fix="leave one of them out")
                words[folded] = meaning.to_model()
            tables[name] = MappingProxyType(words)
        return MappingProxyType(tables)

    def _refuse(self, error: type[GatewayError], what: str, path: TreePath, *, was: str = "", fix: str = "") -> None:
        self.problems.append(error(what, where=self._document.place(path), was=was, fix=fix))


def _spec(fields: RecordFields, place: Place, csv: CsvOptions) -> RecordSpec:
    return RecordSpec(
        id=fields.id,
        file=fields.file,
        kind=fields.kind,
        per=fields.rows.per,
        place=place,
        encoding=fields.encoding or "",
        csv=csv,
        at=fields.rows.at or "",
        match_field=(fields.match.field or "") if fields.match else "",
        match_to=fields.match.to if fields.match else "",
        is_optional=bool(fields.optional),
        unmatched_is_fine=fields.unmatched is Unmatched.IGNORE,
    )


def _media(fields: MediaFields, patterns: tuple[NamePattern, ...], place: Place) -> MediaSpec:
    return MediaSpec(tuple(fields.files), place, patterns, tuple(fields.ignore or ()), fields.frames or "")


# ---------------------------------------------------------------- one item written without its list

_IN_SOURCES = ("field", "file_name", "folder_name", "dicom", "order")


def _singles_as_lists(root: Table) -> Node:
    """Wrap what may be written as one item or a list of them, so that its model sees a list; places stay."""
    node = _wrapped(root, ("folder",))
    node = _changed(node, "media", lambda media: _wrapped(media, ("files", "names", "ignore")))
    node = _changed(node, "exams", lambda exams: _changed(_wrapped(exams, ("by",)), "by", _each_source))
    return _changed(node, "rules", lambda rules: _each(rules, _rule))


def _rule(node: Node) -> Node:
    return _changed(_wrapped(node, ("from", "with")), "from", _each_source)


def _each_source(node: Node) -> Node:
    return _each(node, lambda item: _wrapped(item, (*_IN_SOURCES, "with")))


def _each(node: Node, change: Callable[[Node], Node]) -> Node:
    return Row(tuple(change(item) for item in node.items), node.position) if isinstance(node, Row) else node


def _changed(node: Node, key: str, change: Callable[[Node], Node]) -> Node:
    if not isinstance(node, Table) or key not in node.entries:
        return node
    entry = node.entries[key]
    return Table({**node.entries, key: Entry(entry.key, change(entry.value))}, node.position, node.duplicates)


def _wrapped(node: Node, keys: Sequence[str]) -> Node:
    for key in keys:
        node = _changed(node, key, _as_row)
    return node


def _as_row(node: Node) -> Node:
    is_nothing = isinstance(node, Scalar) and node.is_nothing
    return node if isinstance(node, Row) or is_nothing else Row((node,), node.position)
