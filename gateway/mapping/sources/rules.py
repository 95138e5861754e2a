"""A source mapping that was read and checked: frozen values that the engine works from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from gateway.errors import Place
from gateway.mapping.located.csv_reader import CsvOptions
from gateway.mapping.sources.language import IfMissing, Per, RecordKind
from gateway.mapping.sources.names import NamePattern
from gateway.mapping.sources.targets import Target
from gateway.model.coded import TextOrCode
from gateway.model.destination_override import DestinationOverride
from gateway.model.witness import WitnessSource


class SourceKind(StrEnum):
    """Where a value may stand; the value is what people call it."""

    RECORD = "record"
    FILE_NAME = "file name"
    FOLDER_NAME = "folder name"
    DICOM = "DICOM attribute"
    ORDER = "order"
    CONSTANT = "constant"
    DEFAULT = "site default"


@dataclass(frozen=True, slots=True)
class Step:
    """One conversion with its parameters, or the look-up of a word in a table of terms."""

    name: str
    parameters: Mapping[str, object]
    place: Place
    table: str = ""
    """Of terms, where it is a look-up."""


@dataclass(frozen=True, slots=True)
class Source:
    """One place that may state a value.

    Parameters
    ----------
    record : str
        Id of the record, where it is one; also of a constant that holds for the rows of one.
    names : tuple of str
        Field, place or attribute; several are put together with `join` between.
    constant : str or None
        The value itself.
    witness : WitnessSource or None
        For an eye: what kind of witness it is.
    said_by : str
        For an eye: field of the same row with the name of the person who says so; else empty.
    place : Place
        Of the source in the mapping.
    steps : tuple of Step or None
        Conversions of this source alone; the rule's where None.
    """

    kind: SourceKind
    place: Place
    record: str = ""
    names: tuple[str, ...] = ()
    constant: str | None = None
    join: str = " "
    witness: WitnessSource | None = None
    said_by: str = ""
    steps: tuple[Step, ...] | None = None

    @property
    def words(self) -> str:
        """What people call it: ``record list Datei``, ``file name eye``."""
        named = [self.record] if self.kind in {SourceKind.RECORD, SourceKind.CONSTANT} and self.record else []
        return " ".join((self.kind.value, *named, *self.names))


@dataclass(frozen=True, slots=True)
class Rule:
    """How one field is filled.

    Parameters
    ----------
    record : str
        Of measurements and findings: the record whose rows they are; else empty.
    takes_earliest : bool
        The sources state moments of several things, and the earliest of them is meant.
    """

    to: Target
    sources: tuple[Source, ...]
    steps: tuple[Step, ...]
    if_missing: IfMissing
    because: str
    place: Place
    record: str = ""
    takes_earliest: bool = False

    @property
    def looked(self) -> str:
        """Every place that may state it, as people call it."""
        return ", ".join(source.words for source in self.sources)


@dataclass(frozen=True, slots=True)
class RecordSpec:
    """Files that carry data.

    Parameters
    ----------
    match_field, match_to : str
        Field of a row that names the picture, and what of the picture's file it names; both empty for rows per exam.
    """

    id: str
    file: str
    kind: RecordKind
    per: Per
    place: Place
    csv: CsvOptions
    encoding: str = ""
    at: str = ""
    match_field: str = ""
    match_to: str = ""
    is_optional: bool = False
    unmatched_is_fine: bool = False


@dataclass(frozen=True, slots=True)
class MediaSpec:
    """Which files are captures, and the patterns of their names."""

    files: tuple[str, ...]
    place: Place
    names: tuple[NamePattern, ...] = ()
    ignore: tuple[str, ...] = ()
    frames: str = ""


@dataclass(frozen=True, slots=True)
class SourceMapping:
    """How one site's own files become an exam document.

    Parameters
    ----------
    file : str
        Of the mapping, as people see it.
    exams_by : tuple of Source
        What tells several exams of one folder apart; empty where a folder holds one.
    terms : mapping of str to mapping of str to TextOrCode
        Tables of the site's words, looked up without regard to case.
    """

    file: str
    name: str
    because: str
    records: tuple[RecordSpec, ...]
    media: MediaSpec
    folder: tuple[NamePattern, ...]
    folder_place: Place
    exams_by: tuple[Source, ...]
    rules: tuple[Rule, ...]
    terms: Mapping[str, Mapping[str, TextOrCode]]
    defaults: tuple[Rule, ...] = ()
    destinations: tuple[DestinationOverride, ...] = ()

    def record(self, record_id: str) -> RecordSpec:
        """Return the record with this id; the reader made sure that there is one.

        Raises
        ------
        KeyError
        """
        for record in self.records:
            if record.id == record_id:
                return record
        raise KeyError(record_id)
