"""Who or what says which eye a capture shows."""

from __future__ import annotations

from dataclasses import dataclass
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
        Where it says so.
    person : PersonName or None
        Who said so, for a `WitnessSource.PERSON`; it then needs no second witness.
    """

    source: WitnessSource
    eye: Eye
    words: str
    place: Place | str
    person: PersonName | None = None
