"""Times without an offset from UTC, in the zone that the exam or the site states.

A time of day alone is not a moment. It becomes one where a zone is stated and the zone's clocks showed that time once;
in the hour that is repeated or left out at a clock change it stays undecided, and what it belongs to is held.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated, Final
from zoneinfo import ZoneInfo

from gateway.errors import GatewayError
from gateway.errors.document import DocumentError, ValueNotUnderstoodError
from gateway.errors.moments import RepeatedHourError, SkippedHourError
from gateway.mapping.located.tree import Entry, LocatedDocument, Node, Path, Row, Scalar, Step, Table
from gateway.mapping.scalars import Rule, refusal, text_of

_LOCAL: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?", re.ASCII)
_ZONE_NAME: Final = "[A-Za-z][A-Za-z0-9_+-]*(?:/[A-Za-z][A-Za-z0-9_+-]*){0,2}"


def zone_named(name: str) -> ZoneInfo | None:
    """Return a time zone of the IANA database, or None where it has none of this name."""
    if not re.fullmatch(_ZONE_NAME, name, re.ASCII) or len(name) > 64:
        return None
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, KeyError):
        # `ZoneInfoNotFoundError` is a KeyError; a folder of the database, such as Europe, is an OSError.
        return None


def _zone(value: object) -> ZoneInfo:
    text = text_of(value, "a time zone")
    zone = zone_named(text)
    if zone is None:
        raise refusal(
            ValueNotUnderstoodError,
            "this is not a time zone",
            was=text[:40],
            fix="use a name of the IANA database, such as Europe/Helsinki",
        )
    return zone


TimeZone = Annotated[ZoneInfo, Rule(_zone, {"type": "string", "pattern": f"^{_ZONE_NAME}$", "maxLength": 64})]
"""A name of the IANA time zone database."""


def local_moment(text: str, zone: ZoneInfo) -> datetime | None:
    """Return the moment at which a zone's clocks showed a time; None where the text is no date and time without offset.

    Raises
    ------
    RepeatedHourError, SkippedHourError
        Without place; see the module.
    """
    if not _LOCAL.fullmatch(text):
        return None
    try:
        earlier = datetime.fromisoformat(text).replace(tzinfo=zone)
    except ValueError:
        return None
    later = earlier.replace(fold=1)
    if earlier.utcoffset() == later.utcoffset():
        return earlier
    if earlier.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != earlier.replace(tzinfo=None):
        raise SkippedHourError(
            f"clocks of {zone.key} never showed this time",
            was=text,
            fix="write the offset that applied, or mend the zone",
        )
    raise RepeatedHourError(
        f"clocks of {zone.key} showed this time twice",
        was=text,
        fix=f"write the one that holds: {earlier.isoformat()} or {later.isoformat()}",
    )


def with_offsets(
    document: LocatedDocument, site_zone: ZoneInfo | None
) -> tuple[LocatedDocument, list[tuple[Path, GatewayError]]]:
    """Write the offset that applied behind every time of a document that has none.

    Parameters
    ----------
    document : LocatedDocument
        An exam document; its ``session.time_zone`` is used where stated.
    site_zone : ZoneInfo or None
        Used where the document states none. Where neither is stated, the document stays as it is.

    Returns
    -------
    document : LocatedDocument
        The same nodes at the same places.
    problems : list of (path, error)
        Times that cannot be decided, by the path of the time.
    """
    stated = document.node(("session", "time_zone"))
    zone = zone_named(stated.text) if isinstance(stated, Scalar) and not stated.is_nothing else site_zone
    if zone is None:
        return document, []
    problems: list[tuple[Path, GatewayError]] = []
    changes: dict[Path, Scalar] = {}
    for path in _times(document):
        node = document.node(path)
        if isinstance(node, Scalar):
            text = _decided(document, path, node.text, zone, problems)
            if text != node.text:
                changes[path] = replace(node, text=text)
    return replace(document, root=_changed(document.root, changes)), problems


def _times(document: LocatedDocument) -> Iterator[Path]:
    yield ("session", "start")
    captures = document.node(("captures",))
    if isinstance(captures, Row):
        yield from (("captures", number, "acquired") for number in range(len(captures.items)))


def _decided(
    document: LocatedDocument, path: Path, text: str, zone: ZoneInfo, problems: list[tuple[Path, GatewayError]]
) -> str:
    try:
        moment = local_moment(text, zone)
    except DocumentError as error:
        error.where = document.place(path)
        problems.append((path, error))
        # What it belongs to is held for the reason just given; a second one, that the offset is missing, is no news.
        return f"{text.replace(' ', 'T')}Z"
    return text if moment is None else moment.isoformat()


def _changed(node: Node, changes: Mapping[Path, Scalar]) -> Node:
    """Return the tree with other scalars at paths that exist; every list is copied once, however many change."""
    if not changes or isinstance(node, Scalar):
        return changes.get((), node)
    below: dict[Step, dict[Path, Scalar]] = defaultdict(dict)
    for path, scalar in changes.items():
        below[path[0]][path[1:]] = scalar
    if isinstance(node, Table):
        entries = {
            key: Entry(entry.key, _changed(entry.value, below.get(key, {}))) for key, entry in node.entries.items()
        }
        return replace(node, entries=entries)
    return replace(node, items=tuple(_changed(item, below.get(n, {})) for n, item in enumerate(node.items)))
