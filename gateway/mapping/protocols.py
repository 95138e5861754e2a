"""Reading protocol files (``eye-ultrasound-protocol/1``): the shipped ones, and a site's own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType

from gateway.errors import GatewayError
from gateway.errors.document import ClockHourError, DocumentError, DuplicateIdError, FieldNotApplicableError
from gateway.errors.protocols import ProtocolFileError
from gateway.mapping.document.problems import duplicate_keys, in_order, validated
from gateway.mapping.document.protocols import ProtocolFields, RuleSetFields, step_of, with_doubt
from gateway.mapping.located.file import read_located
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.located.tree import Path as TreePath
from gateway.model.protocol import Judged, Protocol, RuleSet
from gateway.shipped import shipped_path
from gateway.standard.codes import words

_ENDINGS = frozenset({".yaml", ".yml", ".json"})


def load_protocols(folder: Path | None = None) -> Mapping[str, Protocol]:
    """Read every protocol that a session may name.

    Parameters
    ----------
    folder : Path, optional
        The site's own protocol files; one with the name of a shipped protocol takes its place.

    Returns
    -------
    mapping of str to Protocol
        By name, the shipped ones first.

    Raises
    ------
    ProtocolFileError
        If the folder or any file in it cannot be used.
    """
    shipped = _shipped_protocols()
    return shipped if folder is None else MappingProxyType({**shipped, **_read_folder(folder)})


@cache
def _shipped_protocols() -> Mapping[str, Protocol]:
    return MappingProxyType(_read_folder(shipped_path("mappings/protocols")))


def _read_folder(folder: Path) -> dict[str, Protocol]:
    try:
        files = sorted(path for path in folder.iterdir() if path.suffix.lower() in _ENDINGS)
    except OSError as err:
        was = err.strerror or ""
        fix = "mend [site] protocols"
        raise ProtocolFileError("the folder of protocols cannot be read", where=str(folder), was=was, fix=fix) from err
    found: dict[str, Protocol] = {}
    for path in files:
        protocol = read_protocol(path)
        if protocol.name in found:
            fix = "rename one of them"
            raise ProtocolFileError("two protocols have one name", where=path.name, was=protocol.name, fix=fix)
        found[protocol.name] = protocol
    return found


def read_protocol(path: Path) -> Protocol:
    """Read one protocol file.

    Raises
    ------
    ProtocolFileError
        If any row is doubtful; a protocol is used as a whole or not at all.
    """
    try:
        document = read_located(path)
    except DocumentError as err:
        raise ProtocolFileError(err.what, where=err.where, was=err.was, fix=err.fix) from err
    return protocol_in(document)


def protocol_in(document: LocatedDocument) -> Protocol:
    """Check a protocol that has been read as texts, and return it.

    Raises
    ------
    ProtocolFileError
        As `read_protocol`.
    """
    fields, problems = validated(document, (), ProtocolFields)
    problems += [error for _path, error in duplicate_keys(document)]
    if fields is not None:
        problems += _between_rows(document, fields)
    if problems or fields is None:
        first, *others = in_order(problems)
        fix = first.fix + (f"; {len(others)} more: " + "; ".join(str(other) for other in others[:5]) if others else "")
        raise ProtocolFileError(first.what, where=first.where, was=first.was, fix=fix)
    return Protocol(
        name=fields.name,
        words=fields.words,
        source=with_doubt(fields.source, fields.checked),
        steps=tuple(
            replace(step_of(row, fields.source), place=document.place(("steps", index)))
            for index, row in enumerate(fields.steps)
        ),
        rule_sets=tuple(_rule_set(row) for row in fields.rule_sets or ()),
    )


def _rule_set(row: RuleSetFields) -> RuleSet:
    needs = tuple(need.to_model() for need in row.needs)
    source = with_doubt(row.source, row.checked)
    return RuleSet(row.name, row.words, row.judges, needs, source, tuple(row.findings or ()))


def _between_rows(document: LocatedDocument, fields: ProtocolFields) -> list[GatewayError]:
    rule_sets = fields.rule_sets or []
    problems: list[GatewayError] = [
        *_shared(document, "steps", "id", [step.id for step in fields.steps]),
        *_shared(document, "rule_sets", "name", [rule_set.name for rule_set in rule_sets]),
    ]
    for index, step in enumerate(fields.steps):
        has_hour = step.clock_hour is not None
        if has_hour != step.scan.requires_clock_hour and (
            step.scan.requires_clock_hour or step.scan.forbids_clock_hour
        ):
            what = f"the scan {step.scan.value} " + (
                "has no clock hour of its own" if has_hour else "needs a clock hour"
            )
            where = document.place(("steps", index, "clock_hour"))
            problems.append(ClockHourError(what, where=where, fix="mend scan or clock_hour"))
    for index, rule_set in enumerate(rule_sets):
        problems += _finding_words(document, ("rule_sets", index), rule_set)
    return problems


def _finding_words(document: LocatedDocument, path: TreePath, rule_set: RuleSetFields) -> Iterator[GatewayError]:
    where = document.place((*path, "findings"))
    if rule_set.judges is Judged.EYE and rule_set.findings:
        yield FieldNotApplicableError("an eye is judged as a whole", where=where, fix="leave findings out")
    elif rule_set.judges is Judged.FINDING:
        unknown = sorted(set(rule_set.findings or ()) - set(words("finding")))
        if unknown or not rule_set.findings:
            what = "the findings that are judged are not known" if unknown else "no findings are named"
            fix = "use " + ", ".join(words("finding"))
            yield FieldNotApplicableError(what, where=where, was=", ".join(unknown), fix=fix)


def _shared(document: LocatedDocument, section: str, field: str, names: Sequence[str]) -> Iterator[GatewayError]:
    seen: dict[str, int] = {}
    for index, name in enumerate(names):
        first = seen.setdefault(name, index)
        if first != index:
            was = f"{name}, also at {document.place((section, first, field))}"
            where = document.place((section, index, field))
            yield DuplicateIdError("this name stands twice", where=where, was=was, fix="rename one")
