"""Conditions of image modules (PS3.3 C.7.6, C.7.9, C.8.5, C.11.2, C.12.3)."""

from __future__ import annotations

from gateway.standard.transfer_syntaxes import Loss, Stream
from gateway.validation.conditions.algebra import (
    Need,
    Predicate,
    absent,
    certain_when,
    equals,
    possible_when,
    present,
    root_equals,
    when,
)
from gateway.validation.elements import tag
from gateway.validation.scope import Scope, has_value, items, value, values

_PIXEL_COMPONENT = (
    "PixelComponentMask",
    "PixelComponentRangeStart",
    "PixelComponentRangeStop",
    "PixelComponentPhysicalUnits",
    "PixelComponentDataType",
    "NumberOfTableBreakPoints",
    "TableOfXBreakPoints",
    "TableOfYBreakPoints",
    "NumberOfTableEntries",
    "TableOfPixelValues",
    "TableOfParameterValues",
    "PixelValueMappingCodeSequence",
)
_STAGE = (
    "StageName",
    "StageNumber",
    "StageCodeSequence",
    "NumberOfStages",
    "NumberOfViewsInStage",
    "ViewName",
    "ViewNumber",
)
_COLOURS = ("Red", "Green", "Blue")


def conditions() -> dict[str, Predicate]:
    """Return the conditions of image modules by name."""
    return _general() | _pixels() | _real_world() | _palette() | _regions() | _ultrasound() | _frames()


def _general() -> dict[str, Predicate]:
    return {
        "no-orientation-in-patient-space": _patient_orientation,
        "several-specimens": when(lambda s: len(items(s.root, "SpecimenDescriptionSequence")) > 1),
        "window-centre-absent": absent("WindowCenter"),
        "window-centre-present": present("WindowCenter"),
        "voi-lut-absent": absent("VOILUTSequence"),
    }


def _patient_orientation(scope: Scope) -> Need:
    """Image IODs without an Image Plane need it; where plane attributes stand all the same nothing is said."""
    if scope.has("ImageOrientationPatient") or scope.has("ImageOrientationSlide"):
        return Need.UNDECIDABLE
    return Need.REQUIRED


def _pixels() -> dict[str, Predicate]:
    return {
        "several-samples-per-pixel": when(_several_samples),
        "pixels-not-square-without-spacing": possible_when(lambda s: not _square_pixels(s)),
        "pixel-provider-absent": absent("PixelDataProviderURL"),
        "transfer-syntax-is-jpip": _jpip,
        "extended-offsets-of-single-fragments": _extended_offsets,
        "compressed-with-loss": certain_when(compressed_with_loss),
    }


def _square_pixels(scope: Scope) -> bool:
    ratio = values(scope.item, "PixelAspectRatio")
    return len(ratio) == 2 and ratio[0] == ratio[1]


def _several_samples(scope: Scope) -> bool:
    samples = scope.value("SamplesPerPixel")
    return isinstance(samples, int) and samples > 1


def _jpip(scope: Scope) -> Need:
    syntax = scope.transfer_syntax
    if syntax is None:
        return Need.UNDECIDABLE
    return Need.REQUIRED if syntax.stream is Stream.REFERENCED else Need.NOT_REQUIRED


def _extended_offsets(scope: Scope) -> Need:
    if not scope.has("ExtendedOffsetTable"):
        return Need.NOT_REQUIRED
    pixels = scope.element("PixelData")
    frames = scope.value("NumberOfFrames") or 1
    if pixels is not None and pixels.fragments is not None and pixels.fragments.count == frames:
        return Need.REQUIRED
    return Need.UNDECIDABLE


def compressed_with_loss(scope: Scope) -> bool:
    """Whether the object itself shows that its pixels lost something (PS3.3 C.7.6.1.1.5)."""
    syntax = scope.transfer_syntax
    if syntax is not None and syntax.loss is Loss.ALWAYS:
        return True
    return has_value(scope.root, "LossyImageCompressionRatio") or has_value(scope.root, "LossyImageCompressionMethod")


def _real_world() -> dict[str, Predicate]:
    """PS3.3 C.7.6.16.2.11."""
    return {
        "first-value-mapped-as-integer": when(lambda s: _mapped_as_integer(s, "First")),
        "last-value-mapped-as-integer": when(lambda s: _mapped_as_integer(s, "Last")),
        "first-value-mapped-as-float": absent("RealWorldValueFirstValueMapped"),
        "last-value-mapped-as-float": absent("RealWorldValueLastValueMapped"),
        "real-world-mapping-is-linear": when(_mapping_is_linear),
        "real-world-mapping-is-table": absent("RealWorldValueIntercept"),
    }


def _mapped_as_integer(scope: Scope, end: str) -> bool:
    if has_value(scope.root, "PixelData") or scope.has("RealWorldValueLUTData"):
        return True
    return not scope.has(f"DoubleFloatRealWorldValue{end}ValueMapped")


def _mapping_is_linear(scope: Scope) -> bool:
    floats = has_value(scope.root, "FloatPixelData") or has_value(scope.root, "DoubleFloatPixelData")
    return floats or not scope.has("RealWorldValueLUTData")


def _palette() -> dict[str, Predicate]:
    return {
        "photometric-interpretation-is-palette": root_equals("PhotometricInterpretation", "PALETTE COLOR"),
        "palette-colour": when(_palette_colour),
        "palette-colour-in-full": _palette_in_full,
        "palette-not-segmented": when(lambda s: not _segmented(s)),
        "palette-segmented": possible_when(lambda s: not _has_plain_palette(s)),
    }


def _palette_colour(scope: Scope) -> bool:
    if scope.value("PhotometricInterpretation") == "PALETTE COLOR":
        return True
    return scope.at_root and scope.value("PixelPresentation") in {"COLOR", "MIXED"}


def _palette_in_full(scope: Scope) -> Need:
    if not _palette_colour(scope):
        return Need.NOT_REQUIRED
    return Need.NOT_REQUIRED if _segmented(scope) else Need.REQUIRED


def _segmented(scope: Scope) -> bool:
    return any(scope.has(f"Segmented{colour}PaletteColorLookupTableData") for colour in _COLOURS)


def _has_plain_palette(scope: Scope) -> bool:
    return any(scope.has(f"{colour}PaletteColorLookupTableData") for colour in _COLOURS)


def _regions() -> dict[str, Predicate]:
    """PS3.3 C.8.5.5; the organisation is 0 bit aligned, 1 ranges, 2 table, 3 code table (C.8.5.5.1.4)."""
    organisation = "PixelComponentOrganization"
    return {
        "pixel-components-calibrated": certain_when(lambda s: any(s.has(keyword) for keyword in _PIXEL_COMPONENT)),
        "pixel-component-organization-present": present(organisation),
        "pixel-components-bit-aligned": equals(organisation, 0),
        "pixel-components-in-ranges": equals(organisation, 1),
        "pixel-components-by-break-points": equals(organisation, 0, 1),
        "pixel-components-by-table": equals(organisation, 2, 3),
        "pixel-components-by-value-table": equals(organisation, 2),
        "pixel-components-by-code-table": equals(organisation, 3),
    }


def _ultrasound() -> dict[str, Predicate]:
    """PS3.3 C.8.5.6."""
    return {
        "staged-protocol": certain_when(lambda s: any(s.has(keyword) for keyword in _STAGE)),
        "ivus-motor-pullback": equals("IVUSAcquisition", "MOTOR_PULLBACK"),
        "ivus-gated-pullback": equals("IVUSAcquisition", "GATED_PULLBACK"),
        "ivus-pullback": equals("IVUSAcquisition", "MOTOR_PULLBACK", "GATED_PULLBACK"),
        "number-of-frames-present": present("NumberOfFrames"),
    }


def _frames() -> dict[str, Predicate]:
    """PS3.3 C.7.6.5, C.7.6.6, C.12.3."""
    return {
        "pointer-names-frame-time": when(lambda s: _pointer_names(s, "FrameTime")),
        "pointer-names-frame-time-vector": when(lambda s: _pointer_names(s, "FrameTimeVector")),
        "audio-in-stream": _audio,
    }


def _pointer_names(scope: Scope, keyword: str) -> bool:
    return tag(keyword) in values(scope.root, "FrameIncrementPointer")


def _audio(scope: Scope) -> Need:
    syntax = scope.transfer_syntax
    if syntax is None or syntax.stream is Stream.MPEG:
        return Need.UNDECIDABLE
    return Need.NOT_REQUIRED


def number_of_frames(root_scope: Scope) -> int:
    """Return Number of Frames, 1 where it is absent or no positive number."""
    number = value(root_scope.root, "NumberOfFrames")
    return number if isinstance(number, int) and number > 0 else 1
