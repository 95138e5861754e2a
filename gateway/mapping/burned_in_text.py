"""Text in a picture: what a document may say of it, and how it becomes the model's."""

from __future__ import annotations

from gateway.errors.document import FieldMissingError
from gateway.mapping.document.captures import BurnedInTextFields, CaptureFields
from gateway.mapping.frames_and_points import refuse_turned_region
from gateway.mapping.parts import Part
from gateway.model.burned_in_text import BurnedInText
from gateway.model.calibration import PixelRegion


def check_burned_in_text(part: Part[CaptureFields], fields: CaptureFields) -> None:
    """Refuse areas that are none, and masking where nobody says what to mask."""
    text = fields.burned_in_text
    if text is None:
        return
    if text.mask and not text.regions:
        what = "nothing says which areas are to be masked"
        part.refuse(FieldMissingError, what, "burned_in_text", fix="write regions:, or leave mask out")
    for number, region in enumerate(text.regions or ()):
        refuse_turned_region(part, region, "burned_in_text", "regions", number)


def burned_in_text_of(fields: BurnedInTextFields) -> BurnedInText:
    """Return the model's statement; its fields have been checked."""
    return BurnedInText(
        identifies_patient=fields.identifies_patient,
        regions=tuple(PixelRegion(r.x0, r.y0, r.x1, r.y1) for r in fields.regions or ()),
        is_masked=bool(fields.mask),
    )
