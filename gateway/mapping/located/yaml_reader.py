"""YAML 1.2 from parse events to the located tree."""

from __future__ import annotations

import re

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, StreamMark, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from gateway.errors import Place
from gateway.errors.document import DocumentFeatureRefusedError, DocumentSyntaxError
from gateway.mapping.located.tree import LONGEST_KEY, Builder, Node, Position, Scalar, ScalarStyle


def read_yaml(text: str, file: str) -> Node:
    """Read one YAML document.

    Raises
    ------
    DocumentSyntaxError, DocumentFeatureRefusedError, DocumentTooLargeError, DocumentEncodingError
        Naming file, line and column.
    """
    builder = Builder(file)
    documents = 0
    # Pure Python and events only: the resolver and constructors, where YAML's surprises live, never run.
    parser = YAML(typ="safe", pure=True)
    try:
        for event in parser.parse(text):
            position = _position(event.start_mark)
            if isinstance(event, DocumentStartEvent):
                documents += 1
                if documents > 1:
                    raise _refused("a second document in one file", file, position, "keep one exam in one file")
            else:
                _add(event, position, builder)
    except MarkedYAMLError as err:
        mark = err.problem_mark or err.context_mark
        where = Place(file, *_line_and_column(mark)) if mark else Place(file)
        raise DocumentSyntaxError("this is not YAML", where=where, was=_in_own_words(err.problem), fix=_FIX) from None
    except YAMLError as err:
        raise DocumentSyntaxError("this is not YAML", where=Place(file), fix=_FIX) from err
    except (ValueError, IndexError, AttributeError, TypeError, AssertionError, OverflowError) as err:
        # The scanner lets a few of Python's own errors out, e.g. for an escape beyond Unicode.
        raise DocumentSyntaxError("this is not YAML", where=Place(file), fix=_FIX) from err
    if builder.root is None:
        raise DocumentSyntaxError("the document is empty", where=Place(file, 1, 1), fix="write the exam into it")
    return builder.root


_FIX = "check indentation, colons and quotes there"


def _add(event: Event, position: Position, builder: Builder) -> None:
    _refuse_features(event, position, builder)
    if isinstance(event, ScalarEvent):
        style = ScalarStyle.QUOTED if event.style or not event.implicit[0] else ScalarStyle.PLAIN
        builder.scalar(Scalar(str(event.value), position, style))
    elif isinstance(event, (MappingStartEvent, SequenceStartEvent)):
        builder.open(position, is_table=isinstance(event, MappingStartEvent))
    elif isinstance(event, (MappingEndEvent, SequenceEndEvent)):
        builder.close()


def _refuse_features(event: Event, position: Position, builder: Builder) -> None:
    file = builder.file
    if isinstance(event, AliasEvent):
        raise _refused("an alias (*) in the document", file, position, "write the value out")
    if getattr(event, "anchor", None) is not None:
        raise _refused("an anchor (&) in the document", file, position, "write the value out where it is needed")
    if getattr(event, "tag", None) is not None:
        raise _refused("a tag (!) in the document", file, position, "quote the text if it starts with !")
    if not builder.awaits_key:
        return
    if isinstance(event, (MappingStartEvent, SequenceStartEvent)):
        raise _refused("a key that is not a text", file, position, "write a name before the colon")
    if isinstance(event, ScalarEvent) and len(event.value) > LONGEST_KEY:
        raise _refused("a key longer than any field's name", file, position, "check the colon")


def _refused(what: str, file: str, position: Position, fix: str) -> DocumentFeatureRefusedError:
    return DocumentFeatureRefusedError(what, where=Place(file, position.line, position.column), fix=fix)


def _position(mark: StreamMark) -> Position:
    return Position(*_line_and_column(mark))


def _line_and_column(mark: StreamMark) -> tuple[int, int]:
    return mark.line + 1, mark.column + 1


def _in_own_words(problem: str | None) -> str:
    # A message may quote the document, and the document may hold a name.
    return re.sub(r"(['\"]).{2,}\1", "...", problem or "").split("\n")[0][:120]
