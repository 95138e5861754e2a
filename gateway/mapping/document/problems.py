"""From what pydantic refuses to errors with place, field and what to write instead."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from functools import cache
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from gateway.errors import GatewayError, Place, all_error_classes
from gateway.errors.document import (
    DocumentError,
    DuplicateKeyError,
    EyeMissingError,
    FieldMissingError,
    TwoEyesError,
    UnknownKeyError,
    ValueNotUnderstoodError,
)
from gateway.mapping.document.base import Fields
from gateway.mapping.located.tree import LocatedDocument, Path, Table, path_text, plain, walk

F = TypeVar("F", bound=Fields)

_PERSONAL_SECTIONS = {"patient", "order"}
_PERSONAL_FIELDS = {
    *("examiner", "performing_physician", "measured_by", "eye_stated_by", "eyes_stated_by"),
    *("comment", "text", "what", "visit"),
}


def is_personal(path: Path) -> bool:
    """Whether a value at this path may speak of a person, so that no message may repeat it."""
    return bool(path) and (path[0] in _PERSONAL_SECTIONS or any(step in _PERSONAL_FIELDS for step in path))


def validated(
    document: LocatedDocument, path: Path, model: type[F], keys: Sequence[str] = ()
) -> tuple[F | None, list[GatewayError]]:
    """Check the mapping at `path` against its model.

    Parameters
    ----------
    keys : sequence of str
        Keys of the mapping that are checked elsewhere and left out here.

    Returns
    -------
    fields : model or None
        None where something is wrong.
    problems : list of GatewayError
        Everything that is wrong, in document order.
    """
    node = document.node(path)
    value = plain(node) if node is not None else None
    if isinstance(value, dict):
        value = {key: item for key, item in value.items() if key not in keys}
    try:
        return model.model_validate(value), []
    except ValidationError as err:
        found = [_problem(document, path, model, detail, keys) for detail in err.errors(include_url=False)]
        return None, in_order(found)


def in_order(problems: Sequence[GatewayError]) -> list[GatewayError]:
    """Sort problems by their place in the document."""

    def place(problem: GatewayError) -> tuple[int, int]:
        where = problem.where
        return (where.line or 0, where.column or 0) if isinstance(where, Place) else (0, 0)

    return sorted(problems, key=place)


def without_missing(problems: Sequence[GatewayError], because: Sequence[GatewayError]) -> list[GatewayError]:
    """Return problems without those of missing fields that `because` already explains, by field."""
    explained = [error.where.field for error in because if isinstance(error.where, Place)]

    def is_explained(problem: GatewayError) -> bool:
        if not isinstance(problem, FieldMissingError | EyeMissingError) or not isinstance(problem.where, Place):
            return False
        field = problem.where.field
        return any(field.startswith(known) or known.startswith(field) for known in explained)

    return [problem for problem in problems if not is_explained(problem)]


@cache
def _error_classes() -> dict[str, type[GatewayError]]:
    return {cls.code: cls for cls in all_error_classes(DocumentError)}


_SHAPES = {
    "model_type": ("a mapping of fields is expected here", "write its fields below it, indented"),
    "dict_type": ("a mapping of fields is expected here", "write its fields below it, indented"),
    "list_type": ("a list is expected here", "write it in [ ] or one item a line after -"),
    "too_short": ("an empty list", "write at least one item or leave the key out"),
    "too_long": ("too many items in a list", "check the list"),
}


def _problem(
    document: LocatedDocument,
    base: Path,
    model: type[Fields],
    detail: Any,  # noqa: ANN401  pydantic's own description of an error
    keys: Sequence[str],
) -> GatewayError:
    path = (*base, *detail["loc"])
    kind = detail["type"]
    if kind == "extra_forbidden":
        known = known_keys(model, detail["loc"][:-1])
        return _unknown_key(document, path, [*known, *keys] if len(detail["loc"]) == 1 else known)
    where = document.place(path)
    if kind == "missing":
        return _missing(document, path)
    if kind == "refused":
        context = detail["ctx"]
        was = "" if is_personal(path) and not context["was"].endswith(" characters") else context["was"]
        return _error_classes()[context["error"]](context["what"], where=where, was=was, fix=context["fix"])
    what, fix = _SHAPES.get(kind, ("this value is not understood", "see the schema of the format"))
    return ValueNotUnderstoodError(what, where=where, fix=fix)


def _missing(document: LocatedDocument, path: Path) -> GatewayError:
    where, fix = document.place(path), document.fix_of_missing(path)
    if path[-1] == "eye":
        written = fix if document.sources else "write eye: right or eye: left"
        return EyeMissingError("the eye is not stated", where=where, fix=f"{written}; it is never guessed")
    return FieldMissingError("a required field is missing", where=where, fix=fix)


def known_keys(model: type[BaseModel], steps: Sequence[str | int]) -> list[str]:
    """Return the keys of the mapping that lies at `steps` inside a model's mapping."""
    for step in steps:
        info = next((f for name, f in model.model_fields.items() if (f.alias or name) == step), None)
        # Numbers of lists, and the site's own words in a table of terms, are no fields.
        if info is not None:
            model = next(_models_in(info.annotation), model)
    return [field.alias or name for name, field in model.model_fields.items()]


def _models_in(annotation: object) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models_in(part)


def _shown_key(path: Path, known: Sequence[str]) -> str:
    """Return a key that may be repeated in a message; where a colon is misplaced, a key may be somebody's name."""
    key = str(path[-1])
    looks_like_a_key = re.fullmatch(r"[A-Za-z][A-Za-z0-9_ -]{0,39}", key) is not None
    if looks_like_a_key and (not is_personal(path[:-1]) or get_close_matches(key.lower(), known)):
        return key
    return f"a key of {len(key)} characters"


def _unknown_key(document: LocatedDocument, path: Path, known: Sequence[str]) -> GatewayError:
    shown = _shown_key(path, known)
    table = document.node(path[:-1])
    entry = table.entries.get(str(path[-1])) if isinstance(table, Table) else None
    position = entry.key.position if entry else document.position(path)
    near = get_close_matches(str(path[-1]).lower().replace("-", "_"), known, n=1)
    fix = f"did you mean {near[0]}?" if near else "known here: " + ", ".join(known)
    return UnknownKeyError(
        "this key is not known here",
        where=Place(document.file, position.line, position.column, path_text(path[:-1])),
        was=shown,
        fix=fix,
    )


def duplicate_keys(document: LocatedDocument) -> Iterator[tuple[Path, GatewayError]]:
    """Yield an error for every key that stands twice in one mapping, with the path of the mapping."""
    for path, node in walk(document.root):
        if not isinstance(node, Table):
            continue
        for again in node.duplicates:
            key = again.key.text
            first, second = node.entries[key].key.position, again.key.position
            shown = _shown_key((*path, key), ())
            field = path_text((*path, key) if shown == key else path)
            where = Place(document.file, second.line, second.column, field)
            was = f"first at {document.file}:{first}, again at {document.file}:{second}"
            if key == "eye":
                of_what = "finding" if path[:1] == ("findings",) else "capture"
                fix = "leave the one line that is right"
                yield path, TwoEyesError(f"two eyes named for one {of_what}", where=where, was=was, fix=fix)
            else:
                what = f"the key stands twice: {shown}"
                yield path, DuplicateKeyError(what, where=where, was=was, fix="delete one of them")
