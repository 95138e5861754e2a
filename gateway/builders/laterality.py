"""The one writer of laterality: every object says through here which eye it shows (PS3.3 C.7.6.1, C.7.3.1, 10.5).

Images carry Image Laterality and never the series-level Laterality beside it: two places could contradict each other,
and the Standard allows the second only where the first is absent (C.7.3.1, type 2C).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gateway.builders.attributes import AttributeWriter, concept_item
from gateway.model.laterality import Eye
from gateway.standard.codes import CodedConcept, concept

_REGION_RULE: Final = "rule: PS3.3 C.8.17, PS3.16 CID 4209"


def laterality_code(eye: Eye) -> CodedConcept:
    """Return Right or Left (PS3.16 CID 247)."""
    return concept("laterality", eye.value)


def write_image_laterality(
    w: AttributeWriter,
    eye: Eye,
    origin: str,
    modifiers: Sequence[tuple[CodedConcept, str]] = (),
    structure: tuple[CodedConcept, str] | None = None,
) -> None:
    """Write which eye an image shows: Image Laterality, and the region Eye with the same side as its first modifier.

    Parameters
    ----------
    origin : str
        Origin of the eye, e.g. ``captures[0].eye``.
    modifiers : sequence of (CodedConcept, str)
        Further modifiers of the region with their origins: zone, clock hour, direction.
    structure : (CodedConcept, str) or None
        Primary anatomic structure with its origin; carries the same side.
    """
    w.set("ImageLaterality", eye.letter, origin)
    side = (laterality_code(eye), origin)
    region = concept_item(concept("structure", "eye"), _REGION_RULE)
    _write_modifiers(region, "AnatomicRegionModifierSequence", (side, *modifiers))
    w.sequence("AnatomicRegionSequence", [region], _REGION_RULE)
    if structure:
        item = concept_item(*structure)
        _write_modifiers(item, "PrimaryAnatomicStructureModifierSequence", (side,))
        w.sequence("PrimaryAnatomicStructureSequence", [item], structure[1])


def write_series_laterality(w: AttributeWriter, eye: Eye, origin: str) -> None:
    """Write the series-level Laterality, for objects of one eye that have no place for Image Laterality."""
    w.set("Laterality", eye.letter, origin)


def _write_modifiers(item: AttributeWriter, keyword: str, modifiers: Sequence[tuple[CodedConcept, str]]) -> None:
    item.sequence(keyword, [concept_item(code, origin) for code, origin in modifiers], modifiers[0][1])
