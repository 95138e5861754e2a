"""A copy of a still or loop in which areas with text are black; the source itself is never touched."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gateway.errors import Place
from gateway.errors.media import MaskNotPossibleError
from gateway.model.calibration import PixelRegion
from gateway.model.media import FrameSource, PixelFacts


@dataclass(frozen=True, slots=True)
class MaskedSource:
    """Another source with black rectangles in every frame."""

    facts: PixelFacts
    source: FrameSource
    regions: tuple[PixelRegion, ...]

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield each frame in order with its rectangles black."""
        for frame in self.source.frames():
            copy = frame.copy()
            for region in self.regions:
                copy[region.y0 : region.y1 + 1, region.x0 : region.x1 + 1] = 0
            yield copy


def mask_refused(where: Place | str, name: str) -> MaskNotPossibleError:
    """Return the refusal to mask a DICOM object, whose pixels stay as they came."""
    return MaskNotPossibleError(
        "text in a DICOM object is not masked here",
        where=where,
        was=name,
        fix="leave mask out, so that Burned In Annotation warns; or hand over the picture itself",
    )


def masked(source: FrameSource, regions: Sequence[PixelRegion]) -> FrameSource:
    """Return the source with areas blackened, and that said of it.

    Parameters
    ----------
    regions : sequence of PixelRegion
        Whole pixels of the picture, both corners included.
        They lie on the picture: `on_picture.check_capture` has refused others.
    """
    facts = source.facts
    areas = "; ".join(f"columns {r.x0} to {r.x1}, rows {r.y0} to {r.y1}" for r in regions)
    note = f"Areas with text were made black: {areas}."
    changed = dataclasses.replace(facts, derivation=(*facts.derivation, note), is_derived=True)
    return MaskedSource(changed, source, tuple(regions))
