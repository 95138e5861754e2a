"""Text that is part of a picture's pixels."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.model.calibration import PixelRegion


@dataclass(frozen=True, slots=True)
class BurnedInText:
    """What somebody stated of the text in a picture.

    Parameters
    ----------
    identifies_patient : bool
        Whether it identifies the patient: Burned In Annotation (PS3.3 C.7.6.1).
    regions : tuple of PixelRegion
        Where text stands.
    is_masked : bool
        Whether a copy with these regions blackened goes out instead of the picture as it was acquired.
    """

    identifies_patient: bool
    regions: tuple[PixelRegion, ...] = ()
    is_masked: bool = False

    @property
    def words(self) -> str:
        """What a reader of the picture must know of its text."""
        if self.is_masked:
            areas = "1 area" if len(self.regions) == 1 else f"{len(self.regions)} areas"
            return f"text masked in {areas}; the picture as acquired stays with its source"
        if self.identifies_patient:
            return "text in the picture identifies the patient"
        return "text in the picture does not identify the patient"
