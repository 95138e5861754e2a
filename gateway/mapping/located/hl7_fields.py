"""Fields of an HL7 v2 message by path, and names of persons in it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final, NoReturn

from gateway.errors import Place
from gateway.errors.records import Hl7EscapeError, Hl7NotSingleError, Hl7PathError
from gateway.mapping.located.tree import Node, Position, Row, Scalar, ScalarStyle, Table

_PATH: Final = re.compile(
    r"(?P<segment>[A-Z][A-Z0-9]{2})(?:\[(?P<occurrence>[1-9][0-9]{0,3})\])?-(?P<field>[1-9][0-9]{0,2})"
    r"(?:\[(?P<repetition>[1-9][0-9]{0,3})\])?(?:\.(?P<component>[1-9][0-9]{0,2})(?:\.(?P<part>[1-9][0-9]{0,2}))?)?"
)
_REPRESENTATIONS: Final = {"": "alphabetic", "A": "alphabetic", "I": "ideographic", "P": "phonetic"}
"""HL7 table 0465, the groups of a DICOM name (PS3.5 6.2.1)."""


def hl7_field(message: Node, path: str, file: str = "") -> Scalar | None:
    """Return the text at a path like ``PID-5.1``, ``ORC-2``, ``OBR[2]-4.2`` or ``PID-3[2].1``, or None.

    A path without component means the whole field, without subcomponent the whole component.

    Raises
    ------
    Hl7PathError
        If the path is not of this form.
    Hl7NotSingleError
        If the path leaves open which of several segments, repetitions, components or subcomponents it means.
    """
    found = _parsed(path, file)
    node: Node | None = _repetition(message, found, path, file)
    for step in ("component", "part"):
        if not isinstance(node, Table):
            # What is not divided further is its own first part (HL7 v2.5.1, 2.8.2).
            return node if isinstance(node, Scalar) and found[step] in {None, "1"} else None
        number = found[step]
        if number is None and set(node.entries) - {"1"}:
            _not_single("several components or subcomponents", path, node.position, file, "name one behind a point")
        entry = node.entries.get(number or "1")
        node = entry.value if entry else None
    return node if isinstance(node, Scalar) else None


def hl7_person_name(message: Node, path: str, file: str = "", *, name_type: str = "") -> Mapping[str, Scalar]:
    """Return the representations of a person's name, each as Family^Given^Middle^Prefix^Suffix of a DICOM name.

    Degrees stand behind the suffix, as in the examples of PS3.5 6.2.1.1.

    Parameters
    ----------
    path : str
        Segment and field, e.g. ``PID-5`` (XPN) or ``OBR-16`` (XCN, recognised by its segment and field).
    name_type : str
        Of HL7 table 0200, e.g. ``L``: which one, where the field holds several names.

    Returns
    -------
    mapping
        Of ``alphabetic``, ``ideographic`` and ``phonetic``, those that are stated.

    Raises
    ------
    Hl7PathError, Hl7NotSingleError
    """
    found = _parsed(path, file)
    if found["component"]:
        _bad_path(path, file)
    field = _field(message, found, path, file)
    # PID and NK1 hold names alone (XPN); elsewhere an identifier of the person stands before them (XCN).
    first, type_at, representation_at = (1, 7, 8) if found["segment"] in {"PID", "NK1"} else (2, 10, 15)
    names: dict[str, Scalar] = {}
    for number, item in enumerate(field.items if field else (), start=1):
        if found["repetition"] not in {None, str(number)}:
            continue
        texts = [_component(item, index) for index in range(first, first + 6)]
        if name_type and _component(item, type_at) != name_type:
            continue
        code = _component(item, representation_at)
        name = _dicom_name(texts)
        if not name:
            continue
        if "^" in "".join(texts):
            place = Place(file, item.position.line, item.position.column)
            raise Hl7EscapeError("a ^ within a part of a name", where=place, fix="mend the name in the source")
        if code not in _REPRESENTATIONS:
            _not_single("a name representation that is not A, I or P", path, item.position, file, "mend the source")
        representation = _REPRESENTATIONS[code]
        if representation in names:
            _not_single("several names of one representation", path, item.position, file, "state the type of name")
        names[representation] = Scalar(name, item.position, ScalarStyle.QUOTED)
    return names


def _dicom_name(texts: list[str]) -> str:
    family, given, middle, suffix, prefix, degree = texts
    last = " ".join(part for part in (suffix, degree) if part)
    return "^".join((family, given, middle, prefix, last)).rstrip("^")


def _component(item: Node, number: int) -> str:
    entry = item.entries.get(str(number)) if isinstance(item, Table) else None
    node = entry.value if entry else None
    if isinstance(node, Table):
        # A family name is divided into own name, prefix and the partner's; the first part is the whole surname (FN.1).
        inner = node.entries.get("1")
        node = inner.value if inner else None
    return node.text if isinstance(node, Scalar) else ""


def _parsed(path: str, file: str) -> Mapping[str, str | None]:
    found = _PATH.fullmatch(path)
    if not found:
        _bad_path(path, file)
    return found.groupdict()


def _bad_path(path: str, file: str) -> NoReturn:
    raise Hl7PathError(
        "this is no path of a field in HL7 v2", where=Place(file), was=repr(path[:40]), fix="write it like PID-5.1"
    )


def _field(message: Node, found: Mapping[str, str | None], path: str, file: str) -> Row | None:
    segments = message.entries.get(str(found["segment"])) if isinstance(message, Table) else None
    row = segments.value if segments else None
    if not isinstance(row, Row):
        return None
    occurrence = found["occurrence"]
    if occurrence is None and len(row.items) > 1:
        _not_single("several segments of this name", path, row.items[1].position, file, "name one, like OBR[2]-4.1")
    index = int(occurrence or 1) - 1
    segment = row.items[index] if index < len(row.items) else None
    entry = segment.entries.get(str(found["field"])) if isinstance(segment, Table) else None
    return entry.value if entry and isinstance(entry.value, Row) else None


def _repetition(message: Node, found: Mapping[str, str | None], path: str, file: str) -> Node | None:
    field = _field(message, found, path, file)
    if field is None:
        return None
    number = found["repetition"]
    if number is None and len(field.items) > 1:
        _not_single(
            "several repetitions of this field", path, field.items[1].position, file, "name one, like PID-3[2].1"
        )
    index = int(number or 1) - 1
    return field.items[index] if index < len(field.items) else None


def _not_single(what: str, path: str, position: Position, file: str, fix: str) -> NoReturn:
    raise Hl7NotSingleError(f"{what} at {path}", where=Place(file, position.line, position.column), fix=fix)
