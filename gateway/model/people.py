"""Patient and people: names in up to three representations."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class PersonName:
    """A name as DICOM component groups (PS3.5 6.2.1.1): ``Family^Given^Middle^Prefix^Suffix`` each.

    Parameters
    ----------
    alphabetic, ideographic, phonetic : str
        Component groups, at most 64 characters each, without backslash, ``=`` or control characters.
    """

    alphabetic: str
    ideographic: str = ""
    phonetic: str = ""

    @property
    def words(self) -> str:
        """The alphabetic name as a person reads it: ``Prefix Given Middle Family Suffix``."""
        family, given, middle, prefix, suffix = (*self.alphabetic.split("^"), "", "", "", "")[:5]
        return " ".join(part for part in (prefix, given, middle, family, suffix) if part)


class Sex(StrEnum):
    """Patient's Sex as DICOM encodes it (PS3.3 C.7.1.1)."""

    FEMALE = "F"
    MALE = "M"
    OTHER = "O"


@dataclass(frozen=True, slots=True)
class Patient:
    """The person examined; `id` is empty only until a site without identifiers has been given one for this person."""

    id: str
    issuer: str
    name: PersonName
    birth_date: date | None = None
    sex: Sex | None = None
    is_id_generated: bool = False
    """The identifier was made by this gateway under the site's own issuer, because the site has none."""
