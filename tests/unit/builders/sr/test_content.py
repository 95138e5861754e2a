"""The content tree holds only relationships that Comprehensive SR allows by value.

The allowed rows are written down here a second time, straight from PS3.3 A.35.3.3.1.2 as DCMTK's constraint checker
lists them (dcmsr, class DSRComprehensiveSRConstraintChecker), so that a slip in the code is seen.
"""

from __future__ import annotations

from itertools import product

import pytest

from gateway.builders.attributes import AttributeWriter
from gateway.builders.sr.content import (
    ContentItem,
    Relationship,
    code,
    container,
    contains,
    has_property,
    is_allowed,
    modifier,
    num,
    text,
)
from gateway.builders.sr.values import Num, Text, ValueType
from gateway.errors.objects import ContentTreeError
from gateway.standard.codes import concept

SAID = "TEXT CODE NUM DATE TIME UIDREF PNAME"
ROWS = [
    ("CONTAINS", "CONTAINER", SAID + " SCOORD IMAGE CONTAINER"),
    ("HAS OBS CONTEXT", "CONTAINER TEXT CODE NUM", SAID),
    ("HAS ACQ CONTEXT", "CONTAINER IMAGE", SAID + " CONTAINER"),
    ("HAS CONCEPT MOD", SAID + " SCOORD IMAGE CONTAINER", "TEXT CODE"),
    ("HAS PROPERTIES", "TEXT CODE NUM", SAID + " SCOORD IMAGE CONTAINER"),
    ("INFERRED FROM", "TEXT CODE NUM", SAID + " SCOORD IMAGE CONTAINER"),
    ("SELECTED FROM", "SCOORD", "IMAGE"),
]
ALLOWED = {
    (source, relationship, target)
    for relationship, sources, targets in ROWS
    for source, target in product(sources.split(), targets.split())
}
COMMENT = concept("sr", "comment")
MM = concept("unit", "mm")


@pytest.mark.parametrize("relationship", list(Relationship))
def test_exactly_the_rows_of_the_standard_are_allowed(relationship: Relationship) -> None:
    for source, target in product(ValueType, ValueType):
        expected = (source.value, relationship.value, target.value) in ALLOWED
        assert is_allowed(source, relationship, target) is expected, (source, relationship, target)


def test_a_forbidden_relationship_cannot_be_built() -> None:
    with pytest.raises(ContentTreeError, match="Comprehensive SR"):
        text(COMMENT, "words", contains(text(COMMENT, "more")))


def test_what_a_reader_shows_has_a_name() -> None:
    with pytest.raises(ContentTreeError, match="name"):
        ContentItem(None, Text("words"))


def test_children_are_written_in_order_with_their_relationships() -> None:
    height = num(
        concept("quantity", "height"),
        Num(6.0, MM, "6.00"),
        modifier(code(concept("sr", "derivation"), concept("sr", "measured"))),
        has_property(text(COMMENT, "words")),
    )
    writer = AttributeWriter()
    container(concept("sr", "measurement-group"), contains(height), template="1501").write(writer, "test")
    root = writer.dataset
    assert (root.ValueType, root.ContinuityOfContent) == ("CONTAINER", "SEPARATE")
    template = root.ContentTemplateSequence[0]
    assert (template.MappingResource, template.TemplateIdentifier) == ("DCMR", "1501")
    item = root.ContentSequence[0]
    assert (item.RelationshipType, item.ValueType) == ("CONTAINS", "NUM")
    assert [child.RelationshipType for child in item.ContentSequence] == ["HAS CONCEPT MOD", "HAS PROPERTIES"]


def test_every_value_says_where_it_came_from() -> None:
    group = container(
        concept("sr", "measurement-group"),
        contains(text(COMMENT, "from above")),
        contains(text(COMMENT, "own", origin="findings f1.comment")),
    )
    writer = AttributeWriter()
    group.write(writer, "rule: test")
    assert writer.origins["ContentSequence[1].TextValue"] == "rule: test"
    assert writer.origins["ContentSequence[2].TextValue"] == "findings f1.comment"
    assert writer.origins["ContentSequence[2].RelationshipType"] == "findings f1.comment"
