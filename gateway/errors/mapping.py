"""Errors of source mappings and of the conversions that they name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from gateway.errors import GatewayError


class MappingError(GatewayError):
    """A source mapping, or a value that it converts, cannot be used."""

    code: ClassVar[str] = "mapping"
    exit_code: ClassVar[int] = 3


class ConversionError(MappingError):
    """A text of a source that the stated conversion cannot turn into the exam document's text."""

    code = "conversion"
    explanation = (
        "A conversion reads exactly the form that the mapping states and refuses everything else, because a repaired "
        "or guessed value would go out as if somebody had written it. Mend the text in the source, or state the form "
        "that the source really uses in the mapping."
    )


class ConversionUnclearError(ConversionError):
    """A text that the stated conversion could read in more than one way."""

    code = "conversion-unclear"
    explanation = (
        "The text has more than one meaning under the stated form: a clock time that happened twice or never, a comma "
        "that may be a decimal or a thousands sign, a name that may be divided in several places. Nothing is chosen "
        "for you: state in the mapping what tells the meanings apart, or mend the text in the source."
    )


class EyeNotOneError(ConversionError):
    """A text of a source that names both eyes, or no single one."""

    code = "conversion-eye-not-one"
    explanation = (
        "A picture shows one eye and a finding belongs to one eye. A source that says OU or both leaves open which of "
        "them is shown, and the eye is never guessed: tell the mapping another field that names it."
    )


class ConversionParametersError(MappingError):
    """A conversion that does not exist, or whose parameters cannot be used."""

    code = "conversion-parameters"
    explanation = (
        "Each conversion has a name and parameters of its own; a parameter that is unknown, missing, or contradicts "
        "another is found when the mapping is read, before any value is converted. `gateway mapping "
        "conversions` lists them."
    )


class SourceMappingError(MappingError):
    """A source mapping that cannot be used; `problems` holds every reason, each with its place."""

    code = "source-mapping"
    explanation = (
        "A mapping says how a site's own files become an exam, so it is used as a whole or not at all. "
        "`gateway mapping check FILE` lists every problem with its line; `gateway mapping --help` explains it."
    )

    def __init__(self, problems: Sequence[GatewayError]) -> None:
        self.problems: tuple[GatewayError, ...] = tuple(problems)
        super().__init__(self.problems[0].what, where=self.problems[0].where)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)

    def __reduce__(self) -> tuple[object, ...]:
        return (type(self), (self.problems,))


class MappingRuleError(MappingError):
    """A line of a source mapping that names something that does not exist, or contradicts another line."""

    code = "mapping-rule"
    explanation = (
        "A rule fills one field of the exam document from places that the mapping itself declares: fields of its "
        "records, places of its patterns, its tables of terms. A name that nothing has would leave a field empty "
        "without a word, so it is found before any exam is read."
    )


class NamePatternError(MappingError):
    """A file-name pattern that cannot be read."""

    code = "name-pattern"
    explanation = (
        "A pattern is plain text with places in braces: {eye}, {scan:letters}, {hour:digits:2}, {note:text}, and {*} "
        "for what does not matter. Two places side by side need a sign or a width between them, because otherwise "
        "nobody can tell where one ends."
    )


class NameNotFittingError(MappingError):
    """A file or folder whose name fits none of the patterns, or can be read in more than one way."""

    code = "name-not-fitting"
    explanation = (
        "What a name says counts only where it can be read in one way. A name that fits no pattern is most often a "
        "slip of the keyboard; one that fits two says two things. The file is held: rename it, write a pattern that it "
        "fits, or name it under media.ignore if it is no part of the exam."
    )


class RecordNotUsableError(MappingError):
    """A record that is not there, or holds nothing at the place that the mapping names."""

    code = "record-not-usable"
    explanation = (
        "The mapping names the files that carry the data beside the pictures. Where one is missing, or has other "
        "columns or elements than the mapping says, nothing of it can be believed. Write optional: yes for a record "
        "that may be absent."
    )


class RowNotMatchedError(MappingError):
    """A row of a record that belongs to no picture of the folder, or to more than one."""

    code = "row-not-matched"
    explanation = (
        "A row speaks of the picture whose name it states. Where no such picture is in the folder, something was not "
        "copied; where several fit, nobody can know which is meant. The row is held and named; nothing of it is used."
    )


class PictureNotThereError(RowNotMatchedError):
    """A row whose picture is not in the folder."""

    code = "picture-not-there"
    explanation = (
        "A row names a picture that the folder does not have. Copy it there, or write unmatched: ignore at the record "
        "where the list also speaks of pictures of other folders; nothing of such a row is used either way."
    )


class SourceMissingError(MappingError):
    """A value that the mapping insists on, and that no source states."""

    code = "source-missing"
    explanation = (
        "The rule says what happens where no source states the value: stop refuses the exam, leave-out holds the "
        "capture or row, leave-empty goes on without the field. Nothing is ever filled in by guess."
    )


class SourcesContradictError(MappingError):
    """Two sources of one field that state different values."""

    code = "sources-contradict"
    explanation = (
        "All sources that a rule names and that state the field must agree; none of them has precedence, because a "
        "precedence would hide the mistake in the other. Both places are named: look at the original and mend the one "
        "that is wrong."
    )


class EyeSourcesContradictError(SourcesContradictError):
    """Two sources that name different eyes for one capture or finding."""

    code = "eye-sources-contradict"
    explanation = (
        "One source says right and another left, and nobody but a person who knows can decide. The part is held and "
        "both places are named. Mend the wrong one at its source; the pictures stay untouched meanwhile."
    )


class TermNotKnownError(MappingError):
    """A word that the mapping's own table of terms does not have."""

    code = "term-not-known"
    explanation = (
        "A table of terms lists the words that a site uses with what they mean. A word that is not in it may be a new "
        "habit or a misspelling; its meaning is never guessed. Add it to the table, or mend the word in the source."
    )


class SeveralExamsError(MappingError):
    """A folder whose exams cannot be told apart, or that holds several where one is wanted."""

    code = "several-exams"
    explanation = (
        "Where one folder holds several exams, the mapping says under exams by which field or place they differ. Every "
        "picture and row must state it; what does not is held, because it could belong to another patient."
    )


class CsvOptionsError(MappingError):
    """Options under which no CSV file can be read."""

    code = "csv-options"
    explanation = (
        "A delimiter is one character, `tab` or `auto`; a quote character is one other character or none. Neither can "
        "be a line end."
    )
