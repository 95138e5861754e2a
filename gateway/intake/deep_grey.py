"""From 16-bit grey to the 8 bits that ultrasound images hold (PS3.3 C.8.5.6.1), by a window that is always named."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gateway.errors.media import GreyWindowError
from gateway.model.media import GreyWindow

DeepPicture = NDArray[np.uint16]
Picture = NDArray[np.uint8]


def window_of(picture: DeepPicture) -> GreyWindow:
    """Return the least and greatest level of a picture."""
    return GreyWindow(int(picture.min()), int(picture.max()))


def wider(one: GreyWindow | None, other: GreyWindow) -> GreyWindow:
    """Return the window that holds both."""
    return other if one is None else GreyWindow(min(one.low, other.low), max(one.high, other.high))


def windowed(picture: DeepPicture, window: GreyWindow) -> Picture:
    """Bring a picture to 8 bits: ``round((v - low) * 255 / (high - low))``, levels outside clipped.

    A window without width leaves a picture black.
    """
    width = max(window.high - window.low, 1)
    steps = np.rint((np.arange(2**16) - window.low) * (255 / width))
    brought: Picture = np.clip(steps, 0, 255).astype(np.uint8)[picture]
    return brought


def window_note(window: GreyWindow, *, is_stated: bool, sha256: str) -> str:
    """Return what was done, in one sentence, with the digest of the file that keeps all bits."""
    low, high = window.low, window.high
    rule = f"round((v - {low}) * 255 / ({high} - {low})), levels outside clipped" if high > low else "one level, black"
    who = "stated in the exam" if is_stated else "its least and greatest level"
    return f"Grey of 16 bits was brought to 8 by {rule}; window {who}; source SHA-256 {sha256}."


def ensure_no_window(window: GreyWindow | None, name: str) -> None:
    """Refuse a window for pixels that have 8 bits already.

    Raises
    ------
    GreyWindowError
    """
    if window is not None:
        raise GreyWindowError(
            "a window for pixels of 8 bits", where=name, was=f"{window.low} to {window.high}", fix="leave it out"
        )
