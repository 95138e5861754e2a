"""Errors of what a destination wants otherwise than the others."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors.settings import SettingsError


class OverrideNotAllowedError(SettingsError):
    """An attribute that no destination may read otherwise, or no attribute at all."""

    code: ClassVar[str] = "override-not-allowed"
    explanation = (
        "A destination may get a few attributes with values of its own, such as the institution's name or a "
        "description. Patient, UIDs, accession numbers, eyes, positions, calibration, pixels and measurements are one "
        "truth for everybody: what is wrong there is mended in the exam, not for one archive. The message lists what "
        "is allowed, or names the nearest keyword."
    )


class OverrideValueError(SettingsError):
    """A value that the overridden attribute cannot take."""

    code: ClassVar[str] = "override-value"
    explanation = (
        "The value is checked by the attribute's value representation (PS3.5 6.2), e.g. 64 characters for an "
        "institution's name and 16 for a station's. A description that goes into the objects of both eyes must not "
        "name one, and each override says why it is there."
    )
