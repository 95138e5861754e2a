"""The error tree: what went wrong, where, what it was, and what to do about it.

::

    GatewayError
    ├── SettingsError           a settings file or value cannot be used                 (errors.settings)
    ├── DocumentError           an exam document, or a part of it, cannot be accepted   (errors.document)
    ├── MappingError            a source mapping, or a value it converts, cannot be used (errors.mapping)
    ├── MediaError              a still or loop cannot be read                          (errors.media)
    ├── MeasurementError        a length, angle or area cannot be computed or trusted   (errors.measurement)
    ├── ObjectError             a DICOM object cannot be built, read or sent on         (errors.objects)
    ├── StoreError              the local store, spool or queue refused                 (errors.store)
    └── PeerError               another system on the network                           (errors.peer)

Each concrete class has a stable ``code`` and an ``explanation`` that ``gateway explain CODE`` prints. Wording of an
instance: what is wrong - where - what it was - what to do; lower case, no full stop, never the value of a patient
attribute.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

__all__ = ["GatewayError", "Place", "all_error_classes"]


@dataclass(frozen=True, slots=True)
class Place:
    """A place in a file that a person can open: ``exam.yaml:12:5``.

    Parameters
    ----------
    file : str
        Path as the person gave it, or relative to the exam folder.
    line, column : int or None
        1-based; None where the file has no lines (a picture, a movie).
    field : str
        Path of the field inside the document, e.g. ``captures[2].eye``; empty for a whole file.
    """

    file: str
    line: int | None = None
    column: int | None = None
    field: str = ""

    def __str__(self) -> str:
        text = self.file
        if self.line is not None:
            text += f":{self.line}"
            if self.column is not None:
                text += f":{self.column}"
        return f"{text} ({self.field})" if self.field else text


class GatewayError(Exception):
    """Base of every error that the gateway raises on purpose.

    Parameters
    ----------
    what : str
        What is wrong, in the words of the trade.
    where : Place or str
        The file and place, peer, or object concerned.
    was : str
        What was found there. Never the value of a patient attribute.
    fix : str
        What the reader can do now.
    """

    code: ClassVar[str] = "gateway-error"
    explanation: ClassVar[str] = ""
    exit_code: ClassVar[int] = 1
    temporary: ClassVar[bool] = False
    """True where trying the same again later may succeed; decides retry, never a caller's guess."""

    def __init__(self, what: str, *, where: Place | str = "", was: str = "", fix: str = "") -> None:
        self.what = what
        self.where = where
        self.was = was
        self.fix = fix
        super().__init__(what)

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        if self.was:
            text += f", was {self.was}"
        if self.fix:
            text += f"; {self.fix}"
        return text

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuilt, (type(self), self.what, self.where, self.was, self.fix))


def _rebuilt(cls: type[GatewayError], what: str, where: Place | str, was: str, fix: str) -> GatewayError:
    """Make an error again after pickling; keyword-only arguments do not survive the default protocol."""
    return cls(what, where=where, was=was, fix=fix)


def all_error_classes(root: type[GatewayError] = GatewayError) -> tuple[type[GatewayError], ...]:
    """Return every class of the tree below `root`, each once, parents first."""
    found: list[type[GatewayError]] = []
    for child in root.__subclasses__():
        if child not in found:
            found.append(child)
        found.extend(c for c in all_error_classes(child) if c not in found)
    return tuple(found)
