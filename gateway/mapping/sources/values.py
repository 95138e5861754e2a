"""What the sources of one rule state, and whether they agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal, InvalidOperation

from gateway.errors import GatewayError, Place
from gateway.errors.mapping import EyeSourcesContradictError, SourceMissingError, SourcesContradictError
from gateway.mapping.document.problems import is_personal
from gateway.mapping.located.tree import Path, path_text
from gateway.mapping.sources.language import IfMissing
from gateway.mapping.sources.pictures import Picture
from gateway.mapping.sources.rows import RecordRow, texts_at
from gateway.mapping.sources.rules import Rule, Source, SourceKind, SourceMapping, Step
from gateway.mapping.sources.steps import Meaning, meaning_of
from gateway.mapping.sources.targets import Target
from gateway.model.laterality import Eye

MOST_NAMED = 5
# The key of an exam may be a patient's number, so its path makes it personal for messages.
_KEY = Target("", ("order", "key"))
_NOWHERE = Place("")


@dataclass(frozen=True, slots=True)
class Context:
    """What the sources of a rule can see.

    Parameters
    ----------
    rows : mapping of str to sequence of RecordRow
        By record id.
    pictures : sequence of Picture
        One for a capture, those of a row, all for the exam.
    eye : Eye or None
        Of the capture, where it is known.
    """

    mapping: SourceMapping
    rows: Mapping[str, Sequence[RecordRow]]
    pictures: Sequence[Picture]
    folder: str
    folder_places: Mapping[str, str]
    eye: Eye | None = None


@dataclass(frozen=True, slots=True)
class Stated:
    """What one source states.

    Parameters
    ----------
    words : str
        As written there.
    person : str
        Who says so, where the source names one.
    """

    source: Source
    words: str
    place: Place
    person: str = ""


@dataclass(slots=True)
class Outcome:
    """What came of one rule.

    Parameters
    ----------
    meaning : Meaning or None
        What all sources agree on; None where none states it or something is wrong.
    stated : list of tuple of Stated and Meaning
        Everything that was stated and understood.
    """

    rule: Rule
    path: Path
    meaning: Meaning | None = None
    stated: list[tuple[Stated, Meaning]] = field(default_factory=list)
    problems: list[GatewayError] = field(default_factory=list)
    is_absent: bool = False

    @property
    def place(self) -> Place:
        """Where the value was read first."""
        return self.stated[0][0].place


class Evaluator:
    """Evaluates rules; the same text under the same rule is converted once."""

    def __init__(self, mapping: SourceMapping) -> None:
        self._mapping = mapping
        self._known: dict[tuple[int, str, Eye | None], Meaning | GatewayError] = {}

    def outcome(self, rule: Rule, context: Context, path: Path) -> Outcome:
        """Return what came of a rule.

        Parameters
        ----------
        path : tuple
            Of the field in the document that is put together.
        """
        outcome = Outcome(rule, path)
        stated: list[Stated] = []
        for source in rule.sources:
            try:
                stated += self._stated(source, context, outcome)
            except GatewayError as err:
                outcome.problems.append(_told_without_text(err, outcome))
        outcome.is_absent = not stated and not outcome.problems
        refused: set[tuple[str, Place]] = set()
        for each in stated:
            meaning = self._meaning(each.source.steps or rule.steps, each.words, context.eye)
            if not isinstance(meaning, GatewayError):
                outcome.stated.append((each, meaning))
            elif (each.words, each.place) not in refused and len(outcome.problems) < MOST_NAMED:
                refused.add((each.words, each.place))
                outcome.problems.append(_placed(meaning, each, outcome))
        if rule.takes_earliest:
            _order(outcome)
        else:
            self._agree(outcome)
        if outcome.stated and not outcome.problems:
            outcome.meaning = outcome.stated[0][1]
        return outcome

    def key(self, sources: Sequence[Source], context: Context) -> Outcome:
        """Return what several sources state of the exam that something belongs to."""
        by = Rule(_KEY, tuple(sources), (), IfMissing.LEAVE_EMPTY, "", sources[0].place if sources else _NOWHERE)
        return self.outcome(by, context, _KEY.path)

    def _meaning(self, steps: tuple[Step, ...], words: str, eye: Eye | None) -> Meaning | GatewayError:
        # Steps live as long as the mapping; a rule made for a key has none of its own.
        key = (id(steps), words, eye)
        if key not in self._known:
            try:
                self._known[key] = meaning_of(words, steps, self._mapping.terms, eye)
            except GatewayError as err:
                self._known[key] = err
        return self._known[key]

    def _stated(self, source: Source, context: Context, outcome: Outcome) -> list[Stated]:
        if source.constant is not None:
            places = [row.place for row in context.rows.get(source.record, ())] if source.record else [source.place]
            return [Stated(source, source.constant, place) for place in places]
        if source.kind in {SourceKind.RECORD, SourceKind.ORDER}:
            found = []
            for row in context.rows.get(source.record, ()):
                person = " ".join(text for text, _ in row.texts(source.said_by)) if source.said_by else ""
                texts = [row.texts(name) for name in source.names]
                found += _joined(source, texts, row.place, outcome, person)
            return found
        if source.kind is SourceKind.FOLDER_NAME:
            return _joined(
                source, _named(source, context.folder_places, context.folder), Place(context.folder), outcome
            )
        found = []
        for picture in context.pictures:
            if source.kind is SourceKind.FILE_NAME:
                texts = _named(source, picture.places, picture.files[0])
            else:
                texts = [_attribute(picture, name) for name in source.names]
            found += _joined(source, texts, picture.place, outcome)
        return found

    def _agree(self, outcome: Outcome) -> None:
        """Note a contradiction, naming the first place and the first of each other value."""
        if not outcome.stated:
            return
        first, meaning = outcome.stated[0]
        others: list[tuple[Stated, Meaning]] = []
        for each, its in outcome.stated[1:]:
            if not _same(meaning, its) and not any(_same(its, known) for _, known in others):
                others.append((each, its))
        for other, its in others[:MOST_NAMED]:
            is_eye = outcome.rule.to.is_eye
            error = EyeSourcesContradictError if is_eye else SourcesContradictError
            what = "two sources name different eyes" if is_eye else "two sources state different values"
            was = f"{_said(first, meaning, outcome)}, but {_said(other, its, outcome)}"
            fix = "look at the original and mend the source that is wrong"
            outcome.problems.append(error(what, where=_at(first.place, outcome.path), was=was, fix=fix))


def missing(outcome: Outcome) -> SourceMissingError:
    """Return the error for a value that the mapping insists on."""
    rule = outcome.rule
    fix = f"state it in one of: {rule.looked}" + (f" ({rule.because})" if rule.because else "")
    where = replace(rule.place, field=path_text(outcome.path))
    return SourceMissingError("no source states this field", where=where, fix=fix)


def _named(source: Source, places: Mapping[str, str], file: str) -> list[list[tuple[str, Place]]]:
    return [[(places[name].strip(), Place(file))] if places.get(name, "").strip() else [] for name in source.names]


def _attribute(picture: Picture, name: str) -> list[tuple[str, Place]]:
    if picture.device is None:
        return []
    file = picture.files[0]
    return [(text, Place(file, field=name)) for text, _ in texts_at(picture.device.root, name, file, ".")]


def _joined(
    source: Source, texts: Sequence[list[tuple[str, Place]]], where: Place, outcome: Outcome, person: str = ""
) -> list[Stated]:
    """Return what a source with one or several names states; several are put together only where all are there."""
    if len(texts) == 1:
        return [Stated(source, text, place, person) for text, place in texts[0]]
    if not any(texts):
        return []
    absent = [name for name, found in zip(source.names, texts, strict=True) if len(found) != 1]
    if absent:
        what = "a value is put together from several, and one of them is missing or stands there more than once"
        fix = "state it once, or leave all of them empty"
        at = _at(where, outcome.path)
        outcome.problems.append(SourceMissingError(what, where=at, was=", ".join(absent), fix=fix))
        return []
    return [Stated(source, source.join.join(found[0][0] for found in texts), texts[0][0][1], person)]


def _order(outcome: Outcome) -> None:
    """Put moments in order; those of clocks with and without a known offset have none."""
    moments = [_moment(meaning.text) for _, meaning in outcome.stated]
    if len({moment.tzinfo is None for moment in moments if moment}) > 1:
        what = "of some moments the offset from UTC is known and of others not, so none is the earliest"
        fix = "state all with their offset, or all without and their time zone"
        outcome.problems.append(SourcesContradictError(what, where=_at(outcome.place, outcome.path), fix=fix))
    outcome.stated.sort(key=lambda each: _sorting(_moment(each[1].text)))


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def _sorting(moment: datetime | None) -> float:
    """Return what sorts moments; what is none comes first, so that the reader of the document refuses it."""
    if moment is None:
        return float("-inf")
    shown = moment.replace(tzinfo=UTC)
    return (shown - datetime.min.replace(tzinfo=UTC) - (moment.utcoffset() or timedelta())).total_seconds()


def _same(one: Meaning, other: Meaning) -> bool:
    if one == other:
        return True
    try:
        return one.code == other.code and Decimal(one.text) == Decimal(other.text)
    except InvalidOperation:
        return False


def _said(stated: Stated, meaning: Meaning, outcome: Outcome) -> str:
    source = stated.source.words
    if is_personal(outcome.path):
        return f"one value by {source} at {stated.place}"
    words = f" ({stated.words[:40]})" if stated.words != meaning.text else ""
    return f"{meaning.text[:60]}{words} by {source} at {stated.place}"


def _at(place: Place, path: Path) -> Place:
    return replace(place, field=path_text(path))


def _told_without_text(error: GatewayError, outcome: Outcome) -> GatewayError:
    """Return an error of reading a field under the path of what it was read for."""
    where = _at(error.where, outcome.path) if isinstance(error.where, Place) else error.where
    return type(error)(error.what, where=where, was="" if is_personal(outcome.path) else error.was, fix=error.fix)


def _placed(error: GatewayError, stated: Stated, outcome: Outcome) -> GatewayError:
    """Return the error of a conversion with the place of its text, and without the text where it may be a person's."""
    was = "" if is_personal(outcome.path) else error.was
    rule = outcome.rule.place
    fix = "; ".join(part for part in (error.fix, f"rule at {rule.file}:{rule.line}") if part)
    return type(error)(error.what, where=_at(stated.place, outcome.path), was=was, fix=fix)
