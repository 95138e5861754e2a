"""Who or what says which eye a capture shows."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from gateway.errors import Place
from gateway.model.laterality import Eye
from gateway.model.people import PersonName


class WitnessSource(StrEnum):
    """Kinds of sources of an eye; two of different kinds, or of different files, are independent of each other."""

    RECORD = "record"
    FILE_NAME = "file-name"
    FOLDER_NAME = "folder-name"
    ORDER = "order"
    DEVICE_ATTRIBUTE = "device-attribute"
    PROTOCOL_PLACE = "protocol-place"
    PERSON = "person"

    @property
    def words(self) -> str:
        """The source as a person reads it."""
        return self.value.replace("-", " ")


@dataclass(frozen=True, slots=True)
class EyeWitness:
    """One source that names the eye of a capture.

    Parameters
    ----------
    source : WitnessSource
        What kind of source it is.
    eye : Eye
        What it says.
    words : str
        How it says so, as written there: ``OD``, ``re``, ``rechts``.
    place : Place or str
        Where it says so. Not compared: the same exam written in another file is the same exam.
    person : PersonName or None
        Who said so, for a `WitnessSource.PERSON`; it then needs no second witness.
    """

    source: WitnessSource
    eye: Eye
    words: str
    place: Place | str = field(compare=False)
    person: PersonName | None = None


def independent_witnesses(witnesses: Iterable[EyeWitness]) -> tuple[EyeWitness, ...]:
    """Return the witnesses that count: of several of one kind in one file, the first.

    Who copies an eye from one line of a file to the next has not looked twice.
    """
    counted: dict[tuple[WitnessSource, str, str], EyeWitness] = {}
    for witness in witnesses:
        person = witness.person.alphabetic if witness.person else ""
        file = "" if person else file_of(witness.place)
        counted.setdefault((witness.source, file, person), witness)
    return tuple(counted.values())


def file_of(place: Place | str) -> str:
    """Return the file of a place, or what stands for one, without line and field: ``exam.csv:3:7`` is ``exam.csv``."""
    if isinstance(place, Place):
        return place.file
    return re.sub(r"(?::\d+){0,2}(?: \([^()]*\))?$", "", place.strip())


def is_settled(witnesses: Iterable[EyeWitness], *, is_one_enough: bool = False) -> bool:
    """Whether an eye rests on two independent sources, or on a named person.

    Parameters
    ----------
    is_one_enough : bool
        The site decided that one source will do; none at all never does.
    """
    counted = independent_witnesses(witnesses)
    by_person = any(witness.source is WitnessSource.PERSON and witness.person for witness in counted)
    return by_person or len(counted) >= (1 if is_one_enough else 2)


def ledger_words(witnesses: Iterable[EyeWitness], *, are_people_named: bool = True) -> str:
    """Say on what an eye rests: ``stated by Maija Holm``, ``record and file name agree``, ``one witness: record``.

    Parameters
    ----------
    are_people_named : bool
        False where names have a field of their own, so that they can be found and taken out.
    """
    counted = independent_witnesses(witnesses)
    people = [witness.person.words for witness in counted if witness.person]
    sources = [witness.source.words for witness in counted if not witness.person]
    said = f"stated by {' and '.join(people) if are_people_named else 'a named person'}" if people else ""
    if not people and len(sources) == 1:
        return f"one witness: {sources[0]}"
    agreeing = f"{', '.join(sources[:-1])} and {sources[-1]} agree" if len(sources) > 1 else "".join(sources)
    if people and len(sources) == 1:
        agreeing += " agrees"
    return "; ".join(part for part in (said, agreeing) if part)
