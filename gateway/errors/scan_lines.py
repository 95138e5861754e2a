"""Errors of raw scan lines: their files and the geometry stated for them."""

from __future__ import annotations

from gateway.errors.media import MediaError


class ScanLineFileError(MediaError):
    """A file of scan lines that is none, or not of the stated shape."""

    code = "scan-line-file"
    explanation = (
        "Scan lines come as numbers without sign of 8 or 16 bits: a NumPy file (.npy) with two axes for a still and "
        "three for a loop, frames first, or a grey PNG or TIFF for a still. Pictures in colour, floating-point "
        "numbers, objects and empty arrays are refused, because nothing tells what their values mean."
    )


class ScanLineGeometryError(MediaError):
    """The stated geometry makes no picture of these lines."""

    code = "scan-line-geometry"
    explanation = (
        "A picture is worked out from scan lines only where every line has an angle or a place, angles run one way and "
        "span less than 180 degrees, there are at least two lines of two samples, and the picture that follows is "
        "neither empty nor larger than is read. Check the number of lines, the angles, the sampling and "
        "mm_per_pixel."
    )
