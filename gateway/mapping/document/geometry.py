"""Points and rectangles on a picture."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from gateway.errors.document import ValueNotUnderstoodError
from gateway.mapping.document.base import Fields
from gateway.mapping.scalars import Rule, number_of, refusal, whole_number

MOST_FRAMES = 100_000_000
FARTHEST_PIXEL = 100_000.0


def _pair(value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise refusal(ValueNotUnderstoodError, "a point has two numbers", fix="write [x, y]")
    x, y = number_of(value[0]), number_of(value[1])
    if max(abs(x), abs(y)) > FARTHEST_PIXEL:
        raise refusal(ValueNotUnderstoodError, "no picture is this large", was=f"[{x:g}, {y:g}]", fix="check the point")
    return x, y


_COORDINATE = {
    "type": ["number", "string"],
    "minimum": -FARTHEST_PIXEL,
    "maximum": FARTHEST_PIXEL,
    "pattern": r"^[+-]?[0-9]+(?:\.[0-9]+)?$",
}
Pair = Annotated[
    tuple[float, float],
    Rule(_pair, {"type": "array", "items": _COORDINATE, "minItems": 2, "maxItems": 2}),
]
"""``[x, y]`` in pixels of the capture's own convention."""


_PIXEL = whole_number(0, 65535)


class RegionFields(Fields):
    """Rectangle of whole pixels, counted from 0, in which the scale holds; both corners belong to it."""

    x0: Annotated[int, _PIXEL] = Field(description="Left column.", examples=[0])
    y0: Annotated[int, _PIXEL] = Field(description="Top row.", examples=[0])
    x1: Annotated[int, _PIXEL] = Field(description="Right column.", examples=[639])
    y1: Annotated[int, _PIXEL] = Field(description="Bottom row.", examples=[479])
