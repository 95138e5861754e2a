"""One exam put together: the rules of the exam, then of each capture, then of each row that is a part of its own."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from gateway.errors import GatewayError, Place
from gateway.mapping.document.observations import FORMAT
from gateway.mapping.located.tree import LocatedDocument, Path, path_text
from gateway.mapping.sources.assembly import Assembly
from gateway.mapping.sources.language import IfMissing
from gateway.mapping.sources.pictures import Picture
from gateway.mapping.sources.rows import RecordRow
from gateway.mapping.sources.rules import Rule, SourceMapping
from gateway.mapping.sources.values import Context, Evaluator, Outcome, missing
from gateway.model.laterality import Eye
from gateway.model.witness import WitnessSource

_LONGEST_WORDS = 64


@dataclass(frozen=True, slots=True)
class ExamSources:
    """Everything of a source folder that belongs to one exam."""

    mapping: SourceMapping
    folder: str
    folder_places: Mapping[str, str]
    pictures: Sequence[Picture]
    rows: Mapping[str, Sequence[RecordRow]]


@dataclass(frozen=True, slots=True)
class Trace:
    """How one field came about.

    Parameters
    ----------
    sources : tuple of tuple of str and Place
        What stated it, and where; the first gave the value.
    rule : Place
        Of the rule in the mapping.
    looked : str
        Where the rule looked in vain, of a field that nothing states; it has no sources.
    """

    sources: tuple[tuple[str, Place], ...]
    rule: Place
    because: str
    looked: str = ""


@dataclass(slots=True)
class Made:
    """What `put_together` returns."""

    document: LocatedDocument
    traces: dict[str, Trace]


def put_together(sources: ExamSources) -> Made:
    """Apply every rule of a mapping to the sources of one exam."""
    return _ExamMaker(sources).make()


@dataclass(slots=True)
class _ExamMaker:
    _sources: ExamSources
    _assembly: Assembly = field(default_factory=Assembly)
    _problems: dict[Path, list[GatewayError]] = field(default_factory=lambda: defaultdict(list))
    _traces: dict[str, Trace] = field(default_factory=dict)
    _unstated: dict[Path, str] = field(default_factory=dict)
    _looked: dict[int, str] = field(default_factory=dict)
    _evaluator: Evaluator = field(init=False)
    _eyes: dict[int, Eye | None] = field(default_factory=dict)
    _pictures_of: dict[int, list[Picture]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        self._evaluator = Evaluator(self._sources.mapping)
        for picture in self._sources.pictures:
            for row in picture.rows:
                self._pictures_of[id(row)].append(picture)

    def make(self) -> Made:
        mapping = self._sources.mapping
        self._assembly.locate((), Place(mapping.file, 1, 1))
        self._assembly.put(("format",), FORMAT, Place(mapping.file, 1, 1))
        self._exam()
        for index, picture in enumerate(self._sources.pictures):
            self._capture(("captures", index), picture)
        self._rows("measurements")
        self._rows("findings")
        made = self._assembly.document(mapping.file)
        document = replace(made, problems=dict(self._problems), unstated=self._unstated)
        return Made(document, self._traces)

    def _exam(self) -> None:
        mapping = self._sources.mapping
        context = self._context(self._sources.rows, self._sources.pictures)
        for rule in self._of(""):
            self._assembly.locate((rule.to.path[0],), rule.place)
            self._apply(rule, context, (), ())
        for rule in mapping.defaults:
            is_refused = any(_speaks_of(error, rule.to.path) for error in self._problems.get((), ()))
            if rule.to.path not in self._assembly and not is_refused:
                self._apply(rule, context, (), ())

    def _capture(self, path: Path, picture: Picture) -> None:
        for problem in picture.problems:
            where = replace(problem.where, field=path_text(path)) if isinstance(problem.where, Place) else problem.where
            self._problems[path].append(type(problem)(problem.what, where=where, was=problem.was, fix=problem.fix))
        self._assembly.locate(path, picture.place)
        self._assembly.put((*path, "id"), picture.id, picture.place)
        self._assembly.put((*path, "kind"), picture.kind.value, picture.place)
        if len(picture.files) == 1:
            self._assembly.put((*path, "file"), picture.files[0], picture.place)
        else:
            for number, file in enumerate(picture.files):
                self._assembly.put((*path, "files", number), file, Place(file))
        if picture.problems:
            return
        rows: dict[str, list[RecordRow]] = defaultdict(list, {k: list(v) for k, v in self._shared_rows().items()})
        for row in picture.rows:
            rows[row.spec.id].append(row)
        # The eye comes first: what a clock hour or a direction means may depend on it.
        for rule in sorted(self._of("captures"), key=lambda each: not each.to.is_eye):
            eye = self._eyes.get(id(picture))
            outcome = self._apply(rule, self._context(rows, [picture], eye), path, path)
            if rule.to.is_eye and outcome.meaning is not None:
                self._eyes[id(picture)] = _eye(outcome.meaning.text)
                self._witnesses(outcome, path)
            if rule.to.path == ("id",) and outcome.meaning is not None:
                picture.id = outcome.meaning.text

    def _shared_rows(self) -> dict[str, Sequence[RecordRow]]:
        return {
            record: rows
            for record, rows in self._sources.rows.items()
            if not self._sources.mapping.record(record).match_to
        }

    def _witnesses(self, outcome: Outcome, path: Path) -> None:
        """Write everything that named the eye beside it."""
        number = 0
        for stated, meaning in outcome.stated:
            if stated.person:
                by = (*path, "eye_stated_by")
                if by not in self._assembly:
                    self._assembly.put(by, stated.person, stated.place)
                continue
            at = (*path, "eye_witnesses", number)
            witness = stated.source.witness or WitnessSource.RECORD
            words = stated.words[:_LONGEST_WORDS].strip() if "\\" not in stated.words else meaning.text
            self._assembly.locate(at, stated.place)
            for name, text in (("source", witness.value), ("eye", meaning.text), ("words", words)):
                self._assembly.put((*at, name), text, stated.place)
            number += 1

    def _rows(self, section: str) -> None:
        """Make a measurement or finding of each row of the records that hold them."""
        rules = self._of(section)
        number = 0
        for record in dict.fromkeys(rule.record for rule in rules):
            for row in self._sources.rows.get(record, ()):
                pictures = self._pictures_of[id(row)]
                path: Path = (section, number)
                number += self._row([rule for rule in rules if rule.record == record], row, pictures, path)

    def _row(self, rules: Sequence[Rule], row: RecordRow, pictures: Sequence[Picture], path: Path) -> bool:
        """Make one part of one row; return whether there is one."""
        rows: dict[str, list[RecordRow]] = defaultdict(list, {k: list(v) for k, v in self._shared_rows().items()})
        for picture in pictures:
            for other in picture.rows:
                if not any(other.spec.id == rule.record for rule in rules):
                    rows[other.spec.id].append(other)
        rows[row.spec.id] = [row]
        eye = self._eyes.get(id(pictures[0])) if len(pictures) == 1 else None
        context = self._context(rows, pictures, eye)
        outcomes = [self._evaluator.outcome(rule, context, (*path, *rule.to.path)) for rule in rules]
        if any(each.is_absent and each.rule.if_missing is IfMissing.NO_PART for each in outcomes):
            return False
        self._assembly.locate(path, row.place)
        self._assembly.put((*path, "id"), f"{row.spec.id}-{row.number}", row.place)
        if path[0] == "measurements" and pictures:
            self._assembly.put((*path, "capture"), pictures[0].id, row.place)
        for number, picture in enumerate(pictures if path[0] == "findings" else ()):
            self._assembly.put((*path, "captures", number), picture.id, row.place)
        for outcome in outcomes:
            self._keep(outcome, path)
        return True

    # ------------------------------------------------------------ one rule

    def _of(self, section: str) -> list[Rule]:
        return [rule for rule in self._sources.mapping.rules if rule.to.section == section]

    def _context(
        self, rows: Mapping[str, Sequence[RecordRow]], pictures: Sequence[Picture], eye: Eye | None = None
    ) -> Context:
        sources = self._sources
        return Context(sources.mapping, rows, pictures, sources.folder, sources.folder_places, eye)

    def _apply(self, rule: Rule, context: Context, prefix: Path, part: Path) -> Outcome:
        outcome = self._evaluator.outcome(rule, context, (*prefix, *rule.to.path))
        self._keep(outcome, part)
        return outcome

    def _keep(self, outcome: Outcome, part: Path) -> None:
        """Write what came of a rule into the document, or note why not."""
        self._problems[part] += outcome.problems
        if outcome.is_absent:
            self._note_absent(outcome.rule, outcome.path)
        if outcome.is_absent and outcome.rule.if_missing is IfMissing.STOP:
            self._problems[()].append(missing(outcome))
        if outcome.is_absent and outcome.rule.if_missing is IfMissing.LEAVE_OUT:
            self._problems[part].append(missing(outcome))
        meaning = outcome.meaning
        if meaning is None:
            return
        path, place = outcome.path, outcome.place
        target = outcome.rule.to
        if meaning.code is None:
            self._assembly.put(path, meaning.text, place)
        else:
            within = (*path, "code") if target.takes_text else path
            if target.takes_text:
                self._assembly.put((*path, "text"), meaning.text, place)
            code = {"value": meaning.code.value, "scheme": meaning.code.scheme, "meaning": meaning.code.meaning}
            for name, text in code.items():
                self._assembly.put((*within, name), text, place)
        stated = tuple((each.source.words, each.place) for each, _ in outcome.stated)
        self._traces[path_text(path)] = Trace(tuple(dict.fromkeys(stated)), outcome.rule.place, outcome.rule.because)

    def _note_absent(self, rule: Rule, path: Path) -> None:
        looked = self._looked.get(id(rule))
        if looked is None:
            near = [
                row.nearest(name)
                for source in rule.sources
                for row in self._sources.rows.get(source.record, ())[:1]
                for name in source.names
            ]
            hint = ", ".join(dict.fromkeys(name for name in near if name))
            looked = self._looked[id(rule)] = rule.looked + (f", did you mean {hint}?" if hint else "")
        self._unstated[path] = f"{looked} (rule at {rule.place.file}:{rule.place.line})"
        self._traces[path_text(path)] = Trace((), rule.place, rule.because, looked)


def _eye(word: str) -> Eye | None:
    return Eye(word) if word in set(Eye) else None


def _speaks_of(error: GatewayError, path: Path) -> bool:
    return isinstance(error.where, Place) and error.where.field == path_text(path)
