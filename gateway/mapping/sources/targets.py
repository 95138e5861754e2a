"""Which fields of the exam document a rule may fill, found in the models that read the document."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError

from gateway.mapping.document.base import CodeFields, FindingWords, ReasonFields, TextOrFields
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.document.observations import ExamHeadFields, FindingFields, MeasurementFields
from gateway.mapping.located.tree import Path, path_text

SECTIONS: dict[str, type[BaseModel]] = {
    "captures": CaptureFields,
    "measurements": MeasurementFields,
    "findings": FindingFields,
}
"""Parts of which a record may hold one in each row."""
SET_BY_MATCH = {
    "format": "the gateway writes it",
    "captures.file": "the gateway writes it from the files found",
    "captures.files": "the gateway writes it from the files found",
    "captures.eye_witnesses": "the gateway writes them from the sources of captures.eye",
    "measurements.capture": "the gateway writes it from the record's match",
    "findings.captures": "the gateway writes it from the record's match",
}
_TARGET = re.compile(r"[a-z_0-9]+(?:\[[0-9]{1,3}\])*(?:\.[a-z_0-9]+(?:\[[0-9]{1,3}\])*)*")
_STEP = re.compile(r"([a-z_0-9]+)|\[([0-9]{1,3})\]")
LONGEST_TARGET = 200


@dataclass(frozen=True, slots=True)
class Target:
    """A field of the exam document.

    Parameters
    ----------
    section : str
        ``captures``, ``measurements`` or ``findings``; empty for fields of the exam as a whole.
    path : tuple
        Inside the part, or from the top of the document.
    takes_text, takes_code : bool
        Whether a bare text, a code, or a text with a code can stand there.
    kind : type
        Annotated with what the document's reader demands of it.
    """

    section: str
    path: Path
    takes_text: bool = True
    takes_code: bool = False
    kind: Any = field(default=None, repr=False, compare=False)

    def __str__(self) -> str:
        return path_text((self.section, *self.path) if self.section else self.path)

    @property
    def is_eye(self) -> bool:
        """Whether it is the eye of a capture or finding."""
        return bool(self.section) and self.path == ("eye",)


class TargetError(ValueError):
    """What is wrong with a target, and how to mend it; the reader of mappings adds the place."""

    def __init__(self, what: str, fix: str) -> None:
        super().__init__(what)
        self.what, self.fix = what, fix


def read_target(text: str) -> Target:
    """Find the field that a rule names: ``patient.id``, ``captures.calibration.mm_per_pixel.x``.

    Raises
    ------
    TargetError
        Naming the nearest field there is.
    """
    if len(text) > LONGEST_TARGET or not _TARGET.fullmatch(text):
        raise TargetError("this is not the path of a field", "write it with dots, e.g. captures.clock_hour")
    found = [name or int(index) for name, index in _STEP.findall(text)]
    bare = re.sub(r"\[[0-9]+\]", "", text)
    if bare in SET_BY_MATCH:
        raise TargetError("this field is not filled by a rule", SET_BY_MATCH[bare])
    section = str(found[0]) if found[0] in SECTIONS else ""
    model: object = SECTIONS[section] if section else ExamHeadFields
    path: Path = tuple(found[1:] if section else found)
    if not path:
        raise TargetError("this is a list of parts", f"name a field of it, e.g. {section}.id")
    for step in path:
        model = _inside(model, step, text)
    takes_text, takes_code = _takes(model)
    if not (takes_text or takes_code):
        raise TargetError("this is not a single field", _inner(bare, model))
    return Target(section, path, takes_text, takes_code, model)


def refusal_of(target: Target, text: str) -> TargetError | None:
    """Return what the document's reader would refuse of a text at this field, or None."""
    try:
        TypeAdapter(target.kind).validate_python(text)
    except ValidationError as error:
        told = error.errors(include_url=False)[0].get("ctx", {})
        what = str(told.get("what", "the field does not take this value"))
        return TargetError(what, str(told.get("fix", "gateway schema exam says what it takes")))
    return None


def _inside(kind: object, step: str | int, text: str) -> object:
    bare = _bare(kind)
    if isinstance(step, int):
        if get_origin(bare) in {list, tuple}:
            return get_args(bare)[0]
        raise TargetError("a number in brackets where no list is", _suggestion(text))
    fields = bare.model_fields if isinstance(bare, type) and issubclass(bare, BaseModel) else {}
    for name, info in fields.items():
        if (info.alias or name) == step:
            return Annotated[(info.annotation, *info.metadata)] if info.metadata else info.annotation
    if get_origin(bare) in {list, tuple}:
        at = re.search(rf"([a-z_0-9]+)\.{step}", text)
        fix = f"number its items from 1: {at[1]}[1].{step}" if at else "number its items from 1, as [1]"
        raise TargetError("this field is in a list", fix)
    raise TargetError("the exam document has no such field", _suggestion(text))


def _bare(kind: Any) -> Any:  # noqa: ANN401  annotations are of any type
    """Return a type without ``Annotated`` and without the possibility that nothing stands there."""
    while True:
        if get_origin(kind) is Annotated:
            kind = get_args(kind)[0]
        elif get_origin(kind) in {Union, UnionType}:
            kind = next(part for part in get_args(kind) if part is not type(None))
        else:
            return kind


def _takes(kind: object) -> tuple[bool, bool]:
    """Return whether a bare text and whether a code may stand at a field of this type."""
    bare = _bare(kind)
    if get_origin(bare) in {list, tuple}:
        return False, False
    if isinstance(bare, type) and issubclass(bare, BaseModel):
        return issubclass(bare, TextOrFields), issubclass(bare, CodeFields | ReasonFields | FindingWords)
    return True, False


def _inner(text: str, kind: object) -> str:
    """Return what to write for a field that has fields of its own, or is a list."""
    bare, numbered = _bare(kind), text
    while get_origin(bare) in {list, tuple}:
        bare, numbered = _bare(get_args(bare)[0]), f"{numbered}[1]"
    if not isinstance(bare, type) or not issubclass(bare, BaseModel):
        return f"write one rule for each item, numbered from 1: {numbered}"
    fields = [f"{numbered}.{info.alias or name}" for name, info in bare.model_fields.items()]
    return f"write one rule for each of {', '.join(fields[:8])}"


def _suggestion(text: str) -> str:
    near = get_close_matches(re.sub(r"\[[0-9]+\]", "", text), known_targets(), n=1, cutoff=0.5)
    return f"did you mean {near[0]}?" if near else "gateway schema exam lists every field"


@cache
def known_targets() -> tuple[str, ...]:
    """Return the path of every field that a rule may fill, without numbers of lists."""
    found: list[str] = []
    _collect(ExamHeadFields, "", found)
    for section, model in SECTIONS.items():
        _collect(model, f"{section}.", found)
    return tuple(path for path in found if path not in SET_BY_MATCH)


def _collect(model: type[BaseModel], prefix: str, found: list[str]) -> None:
    for name, info in model.model_fields.items():
        path = f"{prefix}{info.alias or name}"
        inner = _bare(info.annotation)
        while get_origin(inner) is list:
            inner = _bare(get_args(inner)[0])
        if not isinstance(inner, type) or not issubclass(inner, BaseModel):
            found.append(path)
            continue
        if any(_takes(inner)):
            found.append(path)
        _collect(inner, f"{path}.", found)
