"""Regions of ultrasound images: inside the picture, well formed, of one mind with Pixel Spacing (PS3.3 C.8.5.5)."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from gateway.validation.consistency.finding import doubt, found
from gateway.validation.elements import Item, shown
from gateway.validation.findings import Finding
from gateway.validation.scope import Scope, items, value, values

SEQUENCE: Final = "SequenceOfUltrasoundRegions"
CORNERS: Final = (
    ("RegionLocationMinX0", "RegionLocationMaxX1", "Columns"),
    ("RegionLocationMinY0", "RegionLocationMaxY1", "Rows"),
)
RESERVED_FLAGS: Final = ~0x1F
CENTIMETRES: Final = 3
TWO_DIMENSIONAL: Final = 1
EIGHT_BITS: Final = frozenset(
    {"MONOCHROME2", "RGB", "YBR_FULL", "YBR_FULL_422", "YBR_RCT", "YBR_ICT", "YBR_PARTIAL_420"}
)
ULTRASOUND_CLASSES: Final = frozenset({"1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.5.1.4.1.1.3.1"})
SPACING_AGREES: Final = 1e-3
"""Relative; decimal strings of 16 characters are far more precise, rounding by people is not."""


def check(scope: Scope) -> Iterator[Finding]:
    """Yield what is wrong with ultrasound regions and bits."""
    for number, region in enumerate(items(scope.root, SEQUENCE), start=1):
        within = ((SEQUENCE, number),)
        yield from _corners(scope, region, within)
        yield from _meaning(region, within)
    yield from _spacing(scope)
    yield from _bits(scope)


def _corners(scope: Scope, region: Item, within: tuple[tuple[str, int], ...]) -> Iterator[Finding]:
    for low_name, high_name, extent_name in CORNERS:
        low, high, extent = value(region, low_name), value(region, high_name), scope.value(extent_name)
        if not isinstance(low, int) or not isinstance(high, int):
            continue
        if low > high:
            message = f"is {low}, beyond {high_name}, which is {high}"
            yield found("region-inverted", low_name, message, "PS3.3 C.8.5.5.1.14", within=within)
        if isinstance(extent, int) and high >= extent:
            message = f"is {high}; the last pixel of the image is {extent - 1}"
            yield found("region-outside-image", high_name, message, "PS3.3 C.8.5.5.1.14", within=within)


def _meaning(region: Item, within: tuple[tuple[str, int], ...]) -> Iterator[Finding]:
    flags = value(region, "RegionFlags")
    if isinstance(flags, int) and flags & RESERVED_FLAGS:
        message = f"is {flags}; bits 5 and up are reserved and must be 0"
        yield found("region-flags-reserved", "RegionFlags", message, "PS3.3 C.8.5.5.1.3", within=within)
    for axis in "XY":
        delta = value(region, f"PhysicalDelta{axis}")
        units = value(region, f"PhysicalUnits{axis}Direction")
        if isinstance(delta, float) and units == CENTIMETRES and (delta == 0 or not math.isfinite(delta)):
            message = f"is {delta} cm for each pixel, so nothing can be measured; leave the region out instead"
            yield doubt("region-without-scale", f"PhysicalDelta{axis}", message, "PS3.3 C.8.5.5.1.17", within=within)


def _spacing(scope: Scope) -> Iterator[Finding]:
    """Readers take one or the other, so both must say the same where both stand."""
    spacing = values(scope.root, "PixelSpacing")
    regions = [
        region
        for region in items(scope.root, SEQUENCE)
        if value(region, "RegionSpatialFormat") == TWO_DIMENSIONAL
        and value(region, "PhysicalUnitsXDirection") == value(region, "PhysicalUnitsYDirection") == CENTIMETRES
    ]
    if len(spacing) != 2 or len(regions) != 1:
        return
    region_mm = [value(regions[0], f"PhysicalDelta{axis}") for axis in "YX"]
    for stated, delta_cm in zip(spacing, region_mm, strict=True):
        if not isinstance(stated, int | float) or not isinstance(delta_cm, float):
            continue
        if not math.isclose(stated, abs(delta_cm) * 10, rel_tol=SPACING_AGREES):
            message = f"says {stated} mm where the region says {abs(delta_cm) * 10:g} mm; one of them is wrong"
            yield doubt("pixel-spacing-contradicts-region", "PixelSpacing", message, "PS3.3 C.8.5.5")
            return


def _bits(scope: Scope) -> Iterator[Finding]:
    if scope.value("SOPClassUID") not in ULTRASOUND_CLASSES:
        return
    kind, allocated = scope.value("PhotometricInterpretation"), scope.value("BitsAllocated")
    if kind in EIGHT_BITS and isinstance(allocated, int) and allocated != 8:
        message = f"is {allocated}; ultrasound images in {shown(kind)} have 8"
        yield found("ultrasound-bits", "BitsAllocated", message, "PS3.3 C.8.5.6.1.13")
