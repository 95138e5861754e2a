"""The content tree: immutable items, and the relationships that Comprehensive SR allows between them.

Only relationships by value exist here. A relationship by reference is legal in Comprehensive SR, but readers in use
break on it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from gateway.builders.attributes import AttributeWriter
from gateway.builders.sr.values import Code, Container, Num, Text, Value, ValueType
from gateway.errors.objects import ContentTreeError
from gateway.standard.codes import CodedConcept


class Relationship(StrEnum):
    """Relationship Type (PS3.3 C.17.3.2.4)."""

    CONTAINS = "CONTAINS"
    HAS_OBS_CONTEXT = "HAS OBS CONTEXT"
    HAS_ACQ_CONTEXT = "HAS ACQ CONTEXT"
    HAS_CONCEPT_MOD = "HAS CONCEPT MOD"
    HAS_PROPERTIES = "HAS PROPERTIES"
    INFERRED_FROM = "INFERRED FROM"
    SELECTED_FROM = "SELECTED FROM"


_V = ValueType
_SAID = frozenset({_V.TEXT, _V.CODE, _V.NUM, _V.DATE, _V.TIME, _V.UIDREF, _V.PNAME})
_OBSERVATIONS = frozenset({_V.TEXT, _V.CODE, _V.NUM})
_ANY = frozenset(ValueType)

_ALLOWED: dict[Relationship, tuple[frozenset[ValueType], frozenset[ValueType]]] = {
    Relationship.CONTAINS: (frozenset({_V.CONTAINER}), _SAID | {_V.SCOORD, _V.IMAGE, _V.CONTAINER}),
    Relationship.HAS_OBS_CONTEXT: (_OBSERVATIONS | {_V.CONTAINER}, _SAID),
    Relationship.HAS_ACQ_CONTEXT: (frozenset({_V.CONTAINER, _V.IMAGE}), _SAID | {_V.CONTAINER}),
    Relationship.HAS_CONCEPT_MOD: (_ANY, frozenset({_V.TEXT, _V.CODE})),
    Relationship.HAS_PROPERTIES: (_OBSERVATIONS, _SAID | {_V.IMAGE, _V.SCOORD, _V.CONTAINER}),
    Relationship.INFERRED_FROM: (_OBSERVATIONS, _SAID | {_V.IMAGE, _V.SCOORD, _V.CONTAINER}),
    Relationship.SELECTED_FROM: (frozenset({_V.SCOORD}), frozenset({_V.IMAGE})),
}
"""Sources and targets by value of each relationship in Comprehensive SR, for the value types that we write
(PS3.3 A.35.3.3.1.2)."""

_NAMELESS = frozenset({_V.IMAGE, _V.SCOORD, _V.CONTAINER})
"""Value types whose concept name may be missing (PS3.3 C.17.3)."""


def is_allowed(source: ValueType, relationship: Relationship, target: ValueType) -> bool:
    """Whether Comprehensive SR allows this relationship by value."""
    sources, targets = _ALLOWED[relationship]
    return source in sources and target in targets


@dataclass(frozen=True, slots=True)
class ContentItem:
    """One content item with everything below it.

    Parameters
    ----------
    name : CodedConcept or None
        Concept name; None only where the template says so.
    value : Value
    children : tuple of Child
        In the order in which a reader shows them.
    observed : datetime or None
        Observation DateTime, aware: when the data behind a measurement were acquired (PS3.3 C.17.3).
    origin : str
        Field of the exam document, or rule, behind the value; empty for that of the item above.

    Raises
    ------
    ContentTreeError
        If a relationship is not allowed in Comprehensive SR, or a name is missing.
    """

    name: CodedConcept | None
    value: Value
    children: tuple[Child, ...] = ()
    observed: datetime | None = None
    origin: str = ""

    def __post_init__(self) -> None:
        source = self.value.value_type
        if self.name is None and source not in _NAMELESS:
            raise ContentTreeError(f"a {source} content item needs a concept name")
        for child in self.children:
            target = child.item.value.value_type
            if not is_allowed(source, child.relationship, target):
                raise ContentTreeError(
                    "a relationship that Comprehensive SR does not allow",
                    where=self.name.meaning if self.name else source,
                    was=f"{source} {child.relationship} {target}",
                )

    def walk(self) -> Iterator[ContentItem]:
        """Yield this item and all below it, each before its children."""
        yield self
        for child in self.children:
            yield from child.item.walk()

    def write(self, item: AttributeWriter, origin: str = "") -> None:
        """Write the item's attributes (PS3.3 C.17.3); what has no origin of its own takes the one from above."""
        origin = self.origin or origin
        item.set("ValueType", self.value.value_type.value, origin)
        if self.name is not None:
            item.code("ConceptNameCodeSequence", self.name, origin)
        if self.observed is not None:
            item.set("ObservationDateTime", self.observed, origin)
        self.value.write(item, origin)
        if self.children:
            children = []
            for child in self.children:
                writer = AttributeWriter()
                writer.set("RelationshipType", child.relationship.value, child.item.origin or origin)
                child.item.write(writer, origin)
                children.append(writer)
            item.sequence("ContentSequence", children, origin)


@dataclass(frozen=True, slots=True)
class Child:
    """A content item and how it relates to the one above it."""

    relationship: Relationship
    item: ContentItem


def container(name: CodedConcept, *children: Child, template: str = "") -> ContentItem:
    """Return a CONTAINER; `template` where it is the root of a template of PS3.16."""
    return ContentItem(name, Container(template), children)


def code(name: CodedConcept, value: CodedConcept, *children: Child, origin: str = "") -> ContentItem:
    """Return a CODE."""
    return ContentItem(name, Code(value), children, origin=origin)


def text(name: CodedConcept, value: str, *children: Child, origin: str = "") -> ContentItem:
    """Return a TEXT."""
    return ContentItem(name, Text(value), children, origin=origin)


def num(name: CodedConcept, value: Num, *children: Child, origin: str = "") -> ContentItem:
    """Return a NUM."""
    return ContentItem(name, value, children, origin=origin)


def contains(item: ContentItem) -> Child:
    """Relate by CONTAINS."""
    return Child(Relationship.CONTAINS, item)


def observation_context(item: ContentItem) -> Child:
    """Relate by HAS OBS CONTEXT."""
    return Child(Relationship.HAS_OBS_CONTEXT, item)


def acquisition_context(item: ContentItem) -> Child:
    """Relate by HAS ACQ CONTEXT."""
    return Child(Relationship.HAS_ACQ_CONTEXT, item)


def modifier(item: ContentItem) -> Child:
    """Relate by HAS CONCEPT MOD."""
    return Child(Relationship.HAS_CONCEPT_MOD, item)


def has_property(item: ContentItem) -> Child:
    """Relate by HAS PROPERTIES."""
    return Child(Relationship.HAS_PROPERTIES, item)


def inferred_from(item: ContentItem) -> Child:
    """Relate by INFERRED FROM."""
    return Child(Relationship.INFERRED_FROM, item)


def selected_from(item: ContentItem) -> Child:
    """Relate by SELECTED FROM."""
    return Child(Relationship.SELECTED_FROM, item)
