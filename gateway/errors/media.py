"""Errors of stills and loops as files, and of the folder they come in."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class MediaError(GatewayError):
    """A still or loop cannot be read."""

    code: ClassVar[str] = "media"
    exit_code: ClassVar[int] = 3


class ExamFolderError(MediaError):
    """The folder does not hold exactly one exam document."""

    code = "exam-folder"
    explanation = (
        "An exam is one folder with one document, exam.yaml, exam.yml or exam.json, and the media beside it. Without "
        "a document nobody knows whose eye a picture shows; with two nobody knows which one holds. Where the document "
        "has another name, name the file itself instead of its folder."
    )


class MediaMissingError(MediaError):
    """The file that a capture names is not there."""

    code = "media-missing"
    explanation = (
        "The exam document names a file that is not in the folder. Copy it there, or mend the name; upper and lower "
        "case count."
    )


class MediaOutsideFolderError(MediaError):
    """The path of a media file leads out of the exam folder."""

    code = "media-outside-folder"
    explanation = (
        "Media lie in the exam folder or below it. A path that leaves it, also by way of a link, could reach another "
        "patient's pictures or any other file of the machine, so it is not followed."
    )


class MediaNotReadableError(MediaError):
    """The file is there and cannot be read."""

    code = "media-not-readable"
    explanation = (
        "The operating system refused, the path is a folder or device instead of a file, or the file is empty. Check "
        "permissions and copy the file again from where it was made."
    )


class MediaFormatError(MediaError):
    """The content is of a kind that is not accepted."""

    code = "media-format"
    explanation = (
        "Content decides, never the name's ending. Stills: PNG, JPEG, TIFF, BMP, GIF. Loops: AVI, MP4, animated GIF "
        "and PNG, TIFF of several pages, or numbered stills. Export the capture again in one of these, preferably one "
        "without loss: every further lossy step takes detail away for good."
    )


class MediaKindError(MediaError):
    """A loop where a still belongs, or the other way round."""

    code = "media-kind"
    explanation = "The capture's `kind` and the content of its file must agree; nothing is turned into the other."


class MediaTruncatedError(MediaError):
    """The file ends before its content does."""

    code = "media-truncated"
    explanation = (
        "A copy that was interrupted, a full disk or a stick pulled out early leaves part of a file. The part is never "
        "used: what is missing could be what matters. Copy the file again from where it was made."
    )


class MediaDamagedError(MediaError):
    """The file has its full length and its content cannot be decoded."""

    code = "media-damaged"
    explanation = (
        "Bytes in the file are not as they were written. Some programs show such a file with patches or repeated "
        "frames; a diagnosis must not rest on them. Copy or export it again."
    )


class MediaChangedError(MediaError):
    """The file is not the one that was opened before."""

    code = "media-changed"
    explanation = (
        "The file was changed, replaced or taken away while the exam was being read, so its digest no longer describes "
        "it. Wait until the device or copying program has finished, then hand the exam over again."
    )


class MediaTooLargeError(MediaError):
    """Beyond the limits within which a picture can be real."""

    code = "media-too-large"
    explanation = (
        "A few bytes can claim a picture of many gigabytes and fill the machine's memory. Limits far above any "
        "ultrasound display (40 million pixels, 65535 on a side, 256 MiB for a still) keep that out."
    )


class PixelDepthError(MediaError):
    """Other than 8 bits a sample."""

    code = "pixel-depth"
    explanation = (
        "Ultrasound images hold 8 bits a sample (PS3.3 C.8.5.6.1). Grey of 16 bits in PNG and TIFF is brought to 8 by "
        "a window, which the object then names; colour of 16 bits, other depths and signed numbers are not. Export the "
        "capture with 8 bits."
    )


class GreyWindowError(MediaError):
    """A window of grey that cannot be used."""

    code = "grey-window"
    explanation = (
        "`grey_window` says which levels of 16-bit grey become black and white. It has nothing to act on where the "
        "picture has 8 bits already: an acquired value is never altered. Leave it out there."
    )


class PageMissingError(MediaError):
    """The file does not hold the picture that is named."""

    code = "page-missing"
    explanation = "`page` counts the pictures of one file from 1: pages of a TIFF, frames of an animation."


class ColourModelError(MediaError):
    """Colours that are neither grey nor RGB."""

    code = "colour-model"
    explanation = (
        "Grey, RGB, palettes and the luma-chroma pictures of JPEG and video have one meaning as grey or RGB. Inks "
        "(CMYK), Lab and others depend on a profile or a device, so they are not converted."
    )


class TransparencyError(MediaError):
    """Pixels that let something shine through."""

    code = "transparency"
    explanation = (
        "What a half-transparent pixel looks like depends on what lies behind it, and nothing tells. Export the "
        "capture without transparency. A picture that is opaque everywhere is accepted."
    )


class SeveralPicturesError(MediaError):
    """More than one picture or movie in one file."""

    code = "several-pictures"
    explanation = (
        "A still is one picture and a loop one movie. Nobody can know which page or track of this file is meant. Name "
        "the picture with `page`, or write kind: loop where pages are frames."
    )


class TurnedPictureError(MediaError):
    """The file asks for its pixels to be turned or mirrored."""

    code = "turned-picture"
    explanation = (
        "The file says that a viewer must turn or mirror its pixels. Calipers and depth axis could be meant before or "
        "after turning, and a mirrored eye is the other side of an eye. Export the capture upright, without that mark."
    )


class CodecError(MediaError):
    """A video encoding that is not accepted."""

    code = "codec"
    explanation = (
        "AVI is read with uncompressed, Motion JPEG or FFV1 frames, MP4 with H.264 or Motion JPEG. Export the loop "
        "again in one of these; converting it later costs detail once more."
    )


class GreyRangeError(MediaError):
    """The range of grey values cannot be known, or changes within a loop."""

    code = "grey-range"
    explanation = (
        "Video stores grey either from 0 to 255 or from 16 to 235. Taken wrongly, every echo is too bright or too "
        "dark. The range is taken from the file, or from the standard that fixes it for that encoding; where neither "
        "says, it is not guessed."
    )


class FrameSizeError(MediaError):
    """Frames of different sizes in one loop."""

    code = "frame-size"
    explanation = "All frames of a loop have one size; a scale in mm could not hold for frames of different sizes."


class RegionOutsidePictureError(MediaError):
    """The calibrated region is not on the picture."""

    code = "region-outside-picture"
    explanation = (
        "The region in which the scale holds is given in whole pixels counted from 0, both corners included, and lies "
        "within the picture. A region beyond it belongs to another picture size, so its scale may be wrong as well."
    )


class MaskNotPossibleError(MediaError):
    """Masking was asked for where pixels stay untouched."""

    code = "mask-not-possible"
    explanation = (
        "Pixels of a DICOM object that is handed over are passed on byte for byte, often in a compression that cannot "
        "be changed in one corner alone, so text in them is not made black. State burned_in_text without mask: the "
        "object then carries Burned In Annotation. Where the text must go, hand over the picture exported without it."
    )
