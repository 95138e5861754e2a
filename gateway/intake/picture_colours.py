"""From Pillow's modes to grey or RGB: colour is kept only where the picture has colour, and nothing is blended."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from gateway.errors.media import ColourModelError, PixelDepthError, TransparencyError

Picture = NDArray[np.uint8]


def grey_or_rgb(image: Image.Image, name: str) -> tuple[Picture | NDArray[np.uint16], tuple[str, ...]]:
    """Return a loaded picture as (rows, columns) or (rows, columns, 3), and what was done to it.

    Raises
    ------
    PixelDepthError, ColourModelError, TransparencyError
    """
    notes: list[str] = []
    mode = image.mode
    if mode in {"I;16", "I;16L", "I;16B"}:
        return _deep_grey(image, name), ()
    if mode.startswith(("I", "F")):
        raise PixelDepthError(
            "the picture has other than 8 bits a sample", where=name, was=f"mode {mode}", fix="export it with 8 bits"
        )
    if mode not in {"1", "L", "LA", "P", "PA", "RGB", "RGBA", "RGBX"}:
        raise ColourModelError(
            "the picture is neither grey nor RGB", where=name, was=mode, fix="export it in grey or RGB"
        )
    if mode in {"LA", "PA", "RGBA"} or "transparency" in image.info:
        _refuse_transparency(image, name)
        notes.append("The opacity channel was left out: every pixel is opaque.")
    if mode in {"P", "PA"}:
        notes.append("Palette colours were written out for each pixel.")
    if mode in {"1", "L", "LA"}:
        grey = image if mode == "L" else image.getchannel(0).convert("L")
        return np.array(grey, dtype=np.uint8, order="C"), tuple(notes)
    if mode not in {"RGB", "RGBA", "RGBX"}:
        image = image.convert("RGBA" if mode == "PA" else "RGB")
    rgb = np.asarray(image, dtype=np.uint8)[..., :3]
    if is_neutral(rgb):
        notes.append("Three equal colour channels were kept as one grey channel.")
        return np.ascontiguousarray(rgb[..., 0]), tuple(notes)
    return np.array(rgb, order="C"), tuple(notes)


def _deep_grey(image: Image.Image, name: str) -> NDArray[np.uint16]:
    picture = np.array(np.asarray(image), dtype=np.uint16, order="C")
    key = image.info.get("transparency")
    if isinstance(key, int) and np.any(picture == key):
        raise _seen_through(float(np.mean(picture == key)), name)
    return picture


def _refuse_transparency(image: Image.Image, name: str) -> None:
    opacity = np.asarray(image.convert("RGBA").getchannel("A"))
    if opacity.min() < 255:
        raise _seen_through(float(np.mean(opacity < 255)), name)


def _seen_through(share: float, name: str) -> TransparencyError:
    return TransparencyError(
        "the picture is transparent in places",
        where=name,
        was=f"{share:.1%} of its pixels",
        fix="export it without transparency",
    )


def is_neutral(rgb: Picture) -> bool:
    """Whether red, green and blue are equal in every pixel, so that one channel says it all."""
    return bool(np.array_equal(rgb[..., 0], rgb[..., 1]) and np.array_equal(rgb[..., 1], rgb[..., 2]))
