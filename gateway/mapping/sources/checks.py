"""Whether every name in a source mapping stands for something: records, fields, places, terms, conversions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from gateway.errors import GatewayError
from gateway.errors.document import DocumentError, DuplicateIdError
from gateway.errors.mapping import MappingRuleError
from gateway.mapping.document.problems import is_personal
from gateway.mapping.located.hl7_fields import hl7_field
from gateway.mapping.located.tree import LocatedDocument, Position, Table
from gateway.mapping.located.tree import Path as TreePath
from gateway.mapping.sources.language import (
    DefaultsFields,
    IfMissing,
    MatchTo,
    Per,
    RecordFields,
    RecordKind,
    RuleFields,
    SourceFields,
)
from gateway.mapping.sources.names import NamePattern
from gateway.mapping.sources.rows import NAMES_IN_HL7
from gateway.mapping.sources.rules import RecordSpec, Rule, Source, SourceKind, Step
from gateway.mapping.sources.steps import TERMS, check_step, meaning_of
from gateway.mapping.sources.targets import Target, TargetError, read_target, refusal_of
from gateway.model.coded import TextOrCode
from gateway.model.laterality import Eye
from gateway.model.witness import WitnessSource

_ROWS_OF = {"measurements": Per.MEASUREMENT, "findings": Per.FINDING}
_WITNESSES: Mapping[SourceKind, WitnessSource] = {
    SourceKind.RECORD: WitnessSource.RECORD,
    SourceKind.CONSTANT: WitnessSource.RECORD,
    SourceKind.FILE_NAME: WitnessSource.FILE_NAME,
    SourceKind.FOLDER_NAME: WitnessSource.FOLDER_NAME,
    SourceKind.ORDER: WitnessSource.ORDER,
    SourceKind.DICOM: WitnessSource.DEVICE_ATTRIBUTE,
}
_WITNESS_OF_RECORD = {RecordKind.HL7: WitnessSource.ORDER, RecordKind.DICOM: WitnessSource.DEVICE_ATTRIBUTE}


@dataclass(frozen=True, slots=True)
class Declared:
    """What a mapping declares for its rules to name."""

    document: LocatedDocument
    records: Sequence[RecordSpec]
    patterns: Sequence[NamePattern]
    folder: Sequence[NamePattern]
    terms: Mapping[str, Mapping[str, TextOrCode]]

    @property
    def file_places(self) -> list[str]:
        """Every place of the file-name patterns."""
        return sorted({place for pattern in self.patterns for place in pattern.places})

    @property
    def folder_places(self) -> list[str]:
        """Every place of the folder's patterns."""
        return sorted({place for pattern in self.folder for place in pattern.places})

    def record(self, wanted: str) -> RecordSpec | None:
        """Return the record with this id, or None."""
        return next((record for record in self.records if record.id == wanted), None)


class RuleReader:
    """Turns the fields of rules into rules, and notes what names nothing."""

    def __init__(self, declared: Declared, problems: list[GatewayError]) -> None:
        self._declared = declared
        self._problems = problems

    # ------------------------------------------------------------ records and media

    def check_record(self, path: TreePath, fields: RecordFields, spec: RecordSpec) -> None:
        """Check one record against the others and against the patterns."""
        first = next(record for record in self._declared.records if record.id == spec.id)
        if first is not spec:
            was = f"{spec.id}, also at {first.place}"
            self._refuse("two records have one id", (*path, "id"), was=was, fix="rename one", error=DuplicateIdError)
        if spec.per in {Per.CAPTURE, Per.MEASUREMENT} and fields.match is None:
            what = f"rows per {spec.per.value} need a picture"
            self._refuse(what, path, fix="write match: {field: ..., to: file-name}")
        if spec.per is Per.EXAM and fields.match is not None:
            self._refuse("rows per exam belong to no picture", (*path, "match"), fix="leave match out")
        if fields.match is None:
            return
        is_by_name = fields.match.to == MatchTo.SAME_STEM
        if is_by_name == bool(fields.match.field):
            fix = "leave field out" if is_by_name else "write field: and what names the picture"
            self._refuse("same-stem goes by the record's file name, the others by a field", (*path, "match"), fix=fix)
        if fields.match.to not in list(MatchTo):
            self._known_place(fields.match.to, self._declared.file_places, "file-name pattern", (*path, "match", "to"))

    def check_frames(self, place: str) -> None:
        """Check the place that numbers frames."""
        self._known_place(place, self._declared.file_places, "file-name pattern", ("media", "frames"))

    # ------------------------------------------------------------ rules

    def rules(self, parts: Sequence[tuple[TreePath, RuleFields]]) -> tuple[Rule, ...]:
        """Return the rules, without those of which something is wrong."""
        rules: list[Rule] = []
        for path, fields in parts:
            rule = self._rule(path, fields)
            if rule is not None:
                self._refuse_second(rule, rules, path)
                rules.append(rule)
        self._refuse_second_person(rules)
        self._refuse_second_clock(rules)
        return tuple(rules)

    def _refuse_second_clock(self, rules: Sequence[Rule]) -> None:
        ahead = next((rule for rule in rules if str(rule.to) == "session.device.clock_ahead_s"), None)
        for rule in rules if ahead else ():
            for step in (*rule.steps, *(step for source in rule.sources for step in source.steps or ())):
                if ahead and step.parameters.get("clock_offset_s") is not None:
                    was = f"session.device.clock_ahead_s at {ahead.place}"
                    fix = "leave clock_offset_s out: times are then kept as the clock showed them, and corrected once"
                    self._problems.append(
                        MappingRuleError("one clock is corrected twice", where=step.place, was=was, fix=fix)
                    )

    def _refuse_second_person(self, rules: Sequence[Rule]) -> None:
        said = next((source for rule in rules for source in rule.sources if source.said_by), None)
        stated = next((rule for rule in rules if str(rule.to).startswith("captures.eye_stated_by")), None)
        if said is not None and stated is not None:
            what = "two ways to say who stated the eye"
            fix = "leave one of them out"
            was = f"said_by at {said.place}"
            self._problems.append(MappingRuleError(what, where=stated.place, was=was, fix=fix))

    def _rule(self, path: TreePath, fields: RuleFields) -> Rule | None:
        before = len(self._problems)
        target = self._target(fields.to, (*path, "to"))
        sources = [self.source(item, (*path, "from", index)) for index, item in enumerate(fields.sources)]
        steps = self._steps(fields.steps, path)
        if target is None or len(self._problems) > before:
            return None
        record = self._rows_of(target, fields, path)
        self._check_eye(target, fields, path)
        self._check_missing(target, fields, path)
        if fields.take is not None and str(target) != "session.start":
            self._refuse("take is for session.start alone", (*path, "take"), fix="leave it out: sources must agree")
        read = tuple(source for source in sources if source)
        self._check_shape(target, [source.steps or steps for source in read], path)
        self._check_constants(target, read, steps)
        return Rule(
            to=target,
            sources=read,
            steps=steps,
            if_missing=fields.if_missing or IfMissing.LEAVE_EMPTY,
            because=fields.because or "",
            place=self._declared.document.place(path),
            record=record,
            takes_earliest=fields.take is not None,
        )

    def _target(self, text: str, path: TreePath) -> Target | None:
        try:
            return read_target(text)
        except TargetError as err:
            self._refuse(err.what, path, was=text[:80], fix=err.fix)
            return None

    def _refuse_second(self, rule: Rule, others: Sequence[Rule], path: TreePath) -> None:
        for other in others:
            same_rows = rule.to.section == other.to.section and rule.record == other.record
            shared = min(len(rule.to.path), len(other.to.path))
            if same_rows and rule.to.path[:shared] == other.to.path[:shared]:
                is_same = rule.to == other.to
                what = "two rules fill one field" if is_same else "one rule fills a field inside that of another"
                fix = "write one rule with both sources in a list" if is_same else "leave one of them out"
                self._refuse(what, (*path, "to"), was=f"{rule.to}, {other.to} also at {other.place}", fix=fix)
                return

    def _rows_of(self, target: Target, fields: RuleFields, path: TreePath) -> str:
        """Return the record whose rows a rule of measurements or findings is for."""
        if target.section not in _ROWS_OF:
            if fields.of:
                self._refuse("of is for measurements and findings", (*path, "of"), fix="leave it out")
            return ""
        fitting = [record.id for record in self._declared.records if record.per is _ROWS_OF[target.section]]
        if fields.of in fitting:
            return fields.of or ""
        if fields.of is None and len(fitting) == 1:
            return fitting[0]
        per = _ROWS_OF[target.section].value
        if not fitting:
            fix = f"write rows: {{per: {per}}} at a record; one file may be several records"
            self._refuse(f"no record has rows per {per}", (*path, "to"), was=str(target), fix=fix)
            return ""
        what = "this names no record with" if fields.of else "it is not said of which record the"
        where = (*path, "of") if fields.of else (*path, "to")
        self._refuse(f"{what} rows per {per}", where, was=fields.of or "", fix=f"of: one of {', '.join(fitting)}")
        return ""

    def _check_eye(self, target: Target, fields: RuleFields, path: TreePath) -> None:
        for index, source in enumerate(fields.sources):
            where = (*path, "from", index)
            if target.is_eye and source.constant is not None and source.record is None:
                fix = "name the record whose rows are of this eye, or another source"
                self._refuse("one eye for every capture is a guess", where, fix=fix)
            if not target.is_eye and (source.witness or source.said_by):
                self._refuse("witness and said_by are for an eye alone", where, fix="leave them out")

    def _check_missing(self, target: Target, fields: RuleFields, path: TreePath) -> None:
        where = (*path, "if_missing")
        if fields.if_missing is IfMissing.LEAVE_OUT and not target.section:
            self._refuse("only a capture, measurement or finding can be left out", where, fix="write stop")
        if fields.if_missing is IfMissing.NO_PART and target.section not in _ROWS_OF:
            self._refuse("no-part is for measurements and findings", where, fix="write leave-out")

    def _check_shape(self, target: Target, ways: Sequence[Sequence[Step]], path: TreePath) -> None:
        gives_code = all(steps and steps[-1].name == TERMS for steps in ways)
        if not target.takes_text and not gives_code:
            fix = "end with: {terms: NAME}, where each word has its code"
            self._refuse("this field holds a code", (*path, "to"), was=str(target), fix=fix)

    def _check_constants(self, target: Target, sources: Sequence[Source], steps: tuple[Step, ...]) -> None:
        """Refuse a constant that the field does not take, which would hold the same part of every exam."""
        for source in sources:
            if source.constant is None:
                continue
            try:
                # Words such as nasal mean an hour in either eye; which one is no matter here.
                meaning = meaning_of(source.constant, source.steps or steps, self._declared.terms, Eye.RIGHT)
            except GatewayError as err:
                self._problems.append(type(err)(err.what, where=source.place, was=err.was, fix=err.fix))
                continue
            problem = None if meaning.code else refusal_of(target, meaning.text)
            if problem is not None:
                was = "" if is_personal(target.path) else meaning.text[:60]
                self._problems.append(MappingRuleError(problem.what, where=source.place, was=was, fix=problem.fix))

    # ------------------------------------------------------------ sources

    def source(self, fields: SourceFields, path: TreePath) -> Source | None:
        """Return one source, or None where it names nothing."""
        kinds = {
            SourceKind.RECORD: fields.field,
            SourceKind.FILE_NAME: fields.file_name,
            SourceKind.FOLDER_NAME: fields.folder_name,
            SourceKind.DICOM: fields.dicom,
            SourceKind.ORDER: fields.order,
            SourceKind.CONSTANT: fields.constant,
        }
        stated = [kind for kind, value in kinds.items() if value is not None]
        if len(stated) != 1:
            what = "a source is one place" if stated else "this source names no place"
            fix = "write one of record with field, file_name, folder_name, dicom, order, constant"
            self._refuse(what, path, was=" and ".join(stated), fix=fix)
            return None
        kind = stated[0]
        before = len(self._problems)
        record = self._record_of(kind, fields, path)
        if kind is SourceKind.FILE_NAME:
            self._known_places(fields.file_name, self._declared.file_places, "file-name pattern", (*path, "file_name"))
        if kind is SourceKind.FOLDER_NAME:
            known = self._declared.folder_places
            self._known_places(fields.folder_name, known, "folder pattern", (*path, "folder_name"))
        self._check_hl7(record, fields.order or fields.field, path)
        steps = self._steps(fields.steps, path)
        if len(self._problems) > before:
            return None
        names = kinds[kind]
        return Source(
            kind=kind,
            place=self._declared.document.place(path),
            record=record,
            names=tuple(names) if isinstance(names, list) else (),
            constant=fields.constant,
            join=" " if fields.join is None else fields.join,
            witness=fields.witness or self._witness(kind, record),
            said_by=fields.said_by or "",
            steps=steps or None,
        )

    def _witness(self, kind: SourceKind, record: str) -> WitnessSource:
        spec = self._declared.record(record)
        return (_WITNESS_OF_RECORD.get(spec.kind) if spec else None) or _WITNESSES[kind]

    def _record_of(self, kind: SourceKind, fields: SourceFields, path: TreePath) -> str:
        if kind is SourceKind.ORDER:
            orders = [record.id for record in self._declared.records if record.kind is RecordKind.HL7]
            if len(orders) != 1:
                self._refuse(
                    "order means the one record of kind hl7",
                    (*path, "order"),
                    was=f"{len(orders)} of them",
                    fix="write record: and its id",
                )
                return ""
            return orders[0]
        if kind not in {SourceKind.RECORD, SourceKind.CONSTANT}:
            if fields.record or fields.said_by:
                self._refuse("record and said_by go with a field", path, fix="leave them out, or write field:")
            return ""
        if fields.record is None:
            if kind is SourceKind.RECORD or fields.said_by:
                self._refuse("a field of no record", path, fix="write record: and its id")
            return ""
        if self._declared.record(fields.record) is None:
            known = [record.id for record in self._declared.records]
            self._refuse("no record has this id", (*path, "record"), was=fields.record, fix=_near(fields.record, known))
        return fields.record

    def _check_hl7(self, record: str, names: Sequence[str] | None, path: TreePath) -> None:
        spec = self._declared.record(record)
        for name in names or () if spec and spec.kind is RecordKind.HL7 else ():
            field, _, representation = name.partition(":")
            try:
                hl7_field(Table({}, Position(1, 1)), field)
            except DocumentError as err:
                self._refuse(err.what, path, was=name[:80], fix=err.fix)
            if representation and representation not in NAMES_IN_HL7:
                known = ", ".join(f"{field}:{each}" for each in NAMES_IN_HL7)
                self._refuse("no part of a person's name is called so", path, was=name[:80], fix=f"write {known}")

    def _known_places(self, names: Sequence[str] | None, known: Sequence[str], of: str, path: TreePath) -> None:
        for index, name in enumerate(names or ()):
            self._known_place(name, known, of, (*path, index))

    def _known_place(self, name: str, known: Sequence[str], of: str, path: TreePath) -> None:
        if name not in known:
            self._refuse(f"no {of} has this place", path, was=name[:80], fix=_near(name, known))

    # ------------------------------------------------------------ steps and defaults

    def _steps(self, steps: Sequence[str | dict[str, object]] | None, path: TreePath) -> tuple[Step, ...]:
        found = []
        for index, written in enumerate(steps or ()):
            where = (*path, "with", index)
            item: dict[str, object] = {written: {}} if isinstance(written, str) else written
            if len(item) != 1:
                fix = "write a name alone, or each as an item of its own: [scan, {terms: eyes}]"
                self._refuse("one conversion in each item", where, was=", ".join(item)[:80], fix=fix)
                continue
            ((name, parameters),) = item.items()
            place = self._declared.document.place((*where, name))
            if name == TERMS:
                table = parameters if isinstance(parameters, str) else ""
                if table not in self._declared.terms:
                    fix = _near(table, list(self._declared.terms))
                    self._refuse("no table of terms has this name", (*where, name), was=table[:80], fix=fix)
                found.append(Step(name, {}, place, table))
                continue
            step = Step(name, parameters if isinstance(parameters, dict) else {}, place)
            problem = check_step(step, parameters)
            if problem is not None:
                self._problems.append(problem)
            found.append(step)
        return tuple(found)

    def defaults(self, fields: DefaultsFields | None) -> tuple[Rule, ...]:
        """Return the site's own names as rules that hold where nothing else does."""
        rules = []
        for name, info in DefaultsFields.model_fields.items():
            value = getattr(fields, name) if fields else None
            if value is not None:
                place = self._declared.document.place(("defaults", str(info.alias)))
                source = Source(SourceKind.DEFAULT, place, constant=value)
                target = read_target(str(info.alias))
                rules.append(Rule(target, (source,), (), IfMissing.LEAVE_EMPTY, "site default", place))
        return tuple(rules)

    def _refuse(
        self,
        what: str,
        path: TreePath,
        *,
        was: str = "",
        fix: str = "",
        error: type[GatewayError] = MappingRuleError,
    ) -> None:
        self._problems.append(error(what, where=self._declared.document.place(path), was=was, fix=fix))


def _near(text: str, known: Sequence[str]) -> str:
    near = get_close_matches(text[:80], known[:200], n=1)
    return f"did you mean {near[0]}?" if near else f"known: {', '.join(known[:20]) or 'none'}"
