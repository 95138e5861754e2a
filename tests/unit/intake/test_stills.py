from __future__ import annotations

import hashlib
import io
import os
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from gateway.errors.media import (
    ColourModelError,
    MediaDamagedError,
    MediaError,
    MediaFormatError,
    MediaKindError,
    MediaMissingError,
    MediaNotReadableError,
    MediaTooLargeError,
    MediaTruncatedError,
    PixelDepthError,
    SeveralPicturesError,
    TransparencyError,
    TurnedPictureError,
)
from gateway.intake.stills import open_still
from gateway.model.media import ColourModel

LOSSLESS = [
    ("a.png", {}),
    ("a.bmp", {}),
    ("a.tif", {"compression": "raw"}),
    ("a.tif", {"compression": "tiff_lzw"}),
    ("a.tif", {"compression": "tiff_adobe_deflate"}),
    ("a.tif", {"compression": "packbits"}),
]


def saved(path: Path, picture: np.ndarray | Image.Image, **options: object) -> Path:
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
    image.save(path, **options)
    return path


def only_frame(path: Path) -> np.ndarray:
    (frame,) = open_still(path, name=path.name).frames()
    return frame


def decoded(path: Path) -> np.ndarray:
    with Image.open(path) as image:
        return np.array(image)


def colourful(picture: np.ndarray) -> np.ndarray:
    return np.dstack([picture, picture[::-1], 255 - picture])


# ---------------------------------------------------------------- what is accepted


@pytest.mark.parametrize(("name", "options"), LOSSLESS)
def test_grey_still_comes_through_exactly(tmp_path, picture, name, options):
    path = saved(tmp_path / name, picture, **options)
    source = open_still(path, name=name)
    facts = source.facts
    assert np.array_equal(only_frame(path), picture)
    assert (facts.rows, facts.columns, facts.frame_count) == (*picture.shape, 1)
    assert facts.colour is ColourModel.GREY
    assert facts.lossy is None
    assert facts.source_sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize(("name", "options"), LOSSLESS)
def test_colour_still_comes_through_exactly(tmp_path, picture, name, options):
    rgb = colourful(picture)
    path = saved(tmp_path / name, rgb, **options)
    frame = only_frame(path)
    assert np.array_equal(frame, rgb)
    assert frame.dtype == np.uint8
    assert frame.flags.c_contiguous
    assert open_still(path, name=name).facts.colour is ColourModel.RGB
    assert open_still(path, name=name).facts.derivation == ()


def test_three_equal_channels_become_one_and_it_is_said(tmp_path, picture):
    path = saved(tmp_path / "a.png", np.dstack([picture] * 3))
    assert np.array_equal(only_frame(path), picture)
    assert open_still(path, name="a").facts.derivation == (
        "Three equal colour channels were kept as one grey channel.",
    )


def test_one_pixel_of_colour_keeps_all_three_channels(tmp_path, picture):
    rgb = np.dstack([picture] * 3)
    rgb[5, 7, 1] ^= 1
    assert np.array_equal(only_frame(saved(tmp_path / "a.png", rgb)), rgb)


@pytest.mark.parametrize("ending", ["png", "bmp", "tif"])
def test_palette_is_written_out(tmp_path, picture, ending):
    colours = Image.fromarray(colourful(picture)).quantize(16)
    path = saved(tmp_path / f"a.{ending}", colours)
    assert np.array_equal(only_frame(path), np.asarray(colours.convert("RGB")))
    assert open_still(path, name="a").facts.derivation == ("Palette colours were written out for each pixel.",)


def test_palette_of_greys_becomes_grey(tmp_path, picture):
    image = Image.fromarray(picture).convert("P")
    image.putpalette([level for level in range(255, -1, -1) for _ in range(3)])
    assert np.array_equal(only_frame(saved(tmp_path / "a.png", image)), 255 - picture)


def test_four_bit_grey_is_spread_over_the_whole_range(tmp_path):
    image = Image.fromarray(np.arange(16, dtype=np.uint8).reshape(1, 16).repeat(4, axis=0), mode="P")
    path = tmp_path / "a.png"
    path.write_bytes(png(16, 4, 4, 0, b"".join(b"\0" + bytes(range(0x01, 0x100, 0x22)) for _ in range(4))))
    assert np.array_equal(only_frame(path), np.asarray(image) * 17)
    assert "fewer than 8 bits" in open_still(path, name="a").facts.derivation[0]


def test_white_is_zero_in_tiff_is_read_as_its_tag_says(tmp_path):
    levels = np.arange(256, dtype=np.uint8).reshape(16, 16)
    path = saved(tmp_path / "a.tif", levels, tiffinfo={262: 0})
    # Pillow writes the samples as they are under the tag "white is zero".
    assert np.array_equal(only_frame(path), decoded(path))


def test_jpeg_is_lossy_with_the_ratio_of_its_bytes(tmp_path, picture):
    path = saved(tmp_path / "a.jpg", picture, quality=90)
    facts = open_still(path, name="a").facts
    assert facts.lossy.method == "ISO_10918_1"
    assert facts.lossy.ratio == pytest.approx(picture.size / path.stat().st_size)
    assert facts.derivation == ()
    assert np.array_equal(only_frame(path), decoded(path))


def test_colour_jpeg_counts_three_bytes_a_pixel(tmp_path, picture):
    path = saved(tmp_path / "a.jpg", colourful(picture), progressive=True)
    facts = open_still(path, name="a").facts
    assert facts.colour is ColourModel.RGB
    assert facts.lossy.ratio == pytest.approx(3 * picture.size / path.stat().st_size)


def test_jpeg_inside_tiff_is_lossy_as_well(tmp_path, picture):
    path = saved(tmp_path / "a.tif", picture, compression="jpeg")
    assert open_still(path, name="a").facts.lossy.method == "ISO_10918_1"


def test_opacity_that_is_full_everywhere_is_left_out_and_it_is_said(tmp_path, picture):
    path = saved(tmp_path / "a.png", np.dstack([picture] * 3 + [np.full_like(picture, 255)]))
    assert np.array_equal(only_frame(path), picture)
    assert "The opacity channel was left out: every pixel is opaque." in open_still(path, name="a").facts.derivation


def test_content_decides_not_the_ending(tmp_path, picture):
    path = saved(tmp_path / "a.jpg", picture, format="PNG")
    assert np.array_equal(only_frame(path), picture)
    assert open_still(path, name="a").facts.lossy is None


def test_picture_cannot_be_written_to_by_accident(tmp_path, picture):
    frame = only_frame(saved(tmp_path / "a.png", picture))
    with pytest.raises(ValueError, match="read-only"):
        frame[0, 0] = 1


def test_colour_profile_is_not_applied_and_it_is_said(tmp_path, picture):
    path = saved(tmp_path / "a.png", picture, icc_profile=b"not really a profile")
    assert np.array_equal(only_frame(path), picture)
    assert "profile" in open_still(path, name="a").facts.derivation[0]


# ---------------------------------------------------------------- what is refused


def refusal(path: Path, error: type[MediaError]) -> MediaError:
    with pytest.raises(error) as caught:
        open_still(path, name="media/shown.png")
    assert type(caught.value) is error
    assert str(caught.value).startswith("media/shown.png: ")
    assert caught.value.fix
    assert str(path.parent) not in str(caught.value)
    return caught.value


def png(width: int, height: int, depth: int, colour_type: int, lines: bytes, *extra: tuple[bytes, bytes]) -> bytes:
    """Put a PNG together by hand (ISO/IEC 15948)."""
    header = struct.pack(">IIBBBBB", width, height, depth, colour_type, 0, 0, 0)
    chunks = [(b"IHDR", header), *extra, (b"IDAT", zlib.compress(lines)), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)) for kind, body in chunks
    )


@pytest.mark.parametrize("share", [0.01, 0.2, 0.5, 0.9, 0.999])
@pytest.mark.parametrize("ending", ["png", "jpg", "bmp", "tif"])
def test_cut_still_is_never_shown_in_part(tmp_path, ending, share):
    grains = np.random.default_rng(3).integers(0, 256, (60, 80), dtype=np.uint8)
    whole = saved(tmp_path / f"whole.{ending}", grains).read_bytes()
    path = tmp_path / f"cut.{ending}"
    path.write_bytes(whole[: int(len(whole) * share)])
    refusal(path, MediaTruncatedError)


@pytest.mark.parametrize("compression", ["tiff_lzw", "tiff_adobe_deflate", "packbits", "jpeg"])
def test_cut_compressed_tiff_is_refused(tmp_path, picture, compression):
    whole = saved(tmp_path / "whole.tif", picture, compression=compression).read_bytes()
    path = tmp_path / "cut.tif"
    for end in range(8, len(whole) - 1, 61):
        path.write_bytes(whole[:end])
        with pytest.raises((MediaTruncatedError, MediaDamagedError)):
            open_still(path, name="cut")


@pytest.mark.parametrize("colour", [False, True])
@pytest.mark.parametrize("progressive", [False, True])
def test_jpeg_with_its_middle_missing_is_refused(tmp_path, picture, colour, progressive):
    whole = saved(tmp_path / "a.jpg", colourful(picture) if colour else picture, progressive=progressive).read_bytes()
    first_scan = whole.index(b"\xff\xda") + 20
    path = tmp_path / "b.jpg"
    path.write_bytes(whole[:first_scan] + b"\xff\xd9")
    refusal(path, MediaDamagedError)


def test_damage_that_pillow_alone_would_show_is_refused(tmp_path, picture):
    whole = saved(tmp_path / "a.jpg", picture).read_bytes()
    path = tmp_path / "b.jpg"
    path.write_bytes(whole[: len(whole) * 3 // 4] + b"\xff\xd9")
    assert decoded(path).shape == picture.shape
    refusal(path, MediaDamagedError)


def test_png_with_a_wrong_checksum_is_refused(tmp_path, picture):
    content = bytearray(saved(tmp_path / "a.png", picture).read_bytes())
    content[len(content) // 2] ^= 0x10
    (tmp_path / "b.png").write_bytes(content)
    assert refusal(tmp_path / "b.png", MediaDamagedError).was == "a wrong checksum in its part IDAT"


def test_png_without_its_end_mark_is_refused_although_all_pixels_are_there(tmp_path, picture):
    content = saved(tmp_path / "a.png", picture).read_bytes()
    (tmp_path / "b.png").write_bytes(content[:-12])
    refusal(tmp_path / "b.png", MediaTruncatedError)


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"patient list\nmonday\n", "text"),
        (b"RIFF\0\0\0\0WEBP" + bytes(100), "a WebP picture"),
        (bytes(128) + b"DICM", "a DICOM file"),
        (b"\x00\x00\x00\x14ftypqt  ", "a QuickTime movie"),
        (b"\x01\x02\x03", "bytes that begin 01 02 03"),
    ],
)
def test_other_content_is_named(tmp_path, content, found):
    path = tmp_path / "a.png"
    path.write_bytes(content)
    assert refusal(path, MediaFormatError).was == found


def test_movie_is_not_a_still(tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(b"RIFF\0\0\0\0AVI LIST")
    assert refusal(path, MediaKindError).was == "AVI"


def test_empty_file_is_refused(tmp_path):
    path = tmp_path / "a.png"
    path.touch()
    assert refusal(path, MediaNotReadableError).was == "0 bytes"


def test_folder_with_the_name_of_a_picture_is_refused(tmp_path):
    path = tmp_path / "a.png"
    path.mkdir()
    assert refusal(path, MediaNotReadableError).was == "a folder"


def test_pipe_is_refused_without_waiting_for_it(tmp_path):
    path = tmp_path / "a.png"
    os.mkfifo(path)
    refusal(path, MediaNotReadableError)


def test_missing_file_is_refused(tmp_path):
    refusal(tmp_path / "a.png", MediaMissingError)


def test_link_that_leads_in_a_circle_is_refused(tmp_path):
    (tmp_path / "a.png").symlink_to(tmp_path / "b.png")
    (tmp_path / "b.png").symlink_to(tmp_path / "a.png")
    refusal(tmp_path / "a.png", MediaNotReadableError)


@pytest.mark.parametrize("size", [(30_000, 30_000), (65_536, 1), (2**31 - 1, 2**31 - 1)])
def test_png_that_claims_a_huge_picture_is_refused_unread(tmp_path, size):
    path = tmp_path / "bomb.png"
    path.write_bytes(png(*size, 8, 0, b"\0" * 64))
    assert refusal(path, MediaTooLargeError).was == f"{size[0]} x {size[1]} pixels"


def test_jpeg_bmp_and_tiff_that_claim_huge_pictures_are_refused(tmp_path, picture):
    jpeg = bytearray(saved(tmp_path / "a.jpg", picture).read_bytes())
    at = jpeg.index(b"\xff\xc0")
    jpeg[at + 5 : at + 9] = b"\xff\xff\xff\xff"
    bmp = bytearray(saved(tmp_path / "a.bmp", picture).read_bytes())
    bmp[18:26] = struct.pack("<ii", 60_000, -60_000)
    tiff = saved(tmp_path / "a.tif", picture, compression="tiff_lzw").read_bytes()
    for tag, side in ((256, picture.shape[1]), (257, picture.shape[0])):
        stated = struct.pack("<HHIHH", tag, 3, 1, side, 0)
        assert stated in tiff
        tiff = tiff.replace(stated, struct.pack("<HHIHH", tag, 3, 1, 60_000, 0))
    for ending, content in (("jpg", jpeg), ("bmp", bmp), ("tif", tiff)):
        path = tmp_path / f"bomb.{ending}"
        path.write_bytes(content)
        refusal(path, MediaTooLargeError)


def test_colour_of_sixteen_bits_and_fractions_are_refused(tmp_path):
    # Pillow would bring 16-bit colour down to 8 bits without a word.
    colour = tmp_path / "c.png"
    colour.write_bytes(png(4, 1, 16, 2, b"\0" + bytes(24)))
    with Image.open(colour) as image:
        assert image.mode == "RGB"
    assert refusal(colour, PixelDepthError).was == "16 bits"
    refusal(saved(tmp_path / "f.tif", Image.fromarray(np.ones((4, 4), np.float32))), PixelDepthError)


def test_transparent_pixels_are_refused(tmp_path, picture):
    opacity = np.full_like(picture, 255)
    opacity[: len(opacity) // 2] = 254
    rgba = saved(tmp_path / "a.png", np.dstack([picture] * 3 + [opacity]))
    assert refusal(rgba, TransparencyError).was == "50.0% of its pixels"


def test_transparent_colour_key_is_refused(tmp_path):
    lines = b"\0" + bytes(range(16))
    path = tmp_path / "a.png"
    path.write_bytes(png(16, 1, 8, 0, lines, (b"tRNS", b"\0\x05")))
    refusal(path, TransparencyError)
    path.write_bytes(png(16, 1, 8, 0, lines, (b"tRNS", b"\0\xc8")))
    assert only_frame(path).shape == (1, 16)


def test_inks_and_lab_are_refused(tmp_path, picture):
    rgb = Image.fromarray(colourful(picture))
    assert refusal(saved(tmp_path / "a.jpg", rgb.convert("CMYK")), ColourModelError).was == "CMYK"
    refusal(saved(tmp_path / "a.tif", Image.new("LAB", (8, 8))), ColourModelError)


def test_several_pages_are_refused(tmp_path, picture):
    pages = [Image.fromarray(picture), Image.fromarray(picture[::-1])]
    path = saved(tmp_path / "a.tif", pages[0], save_all=True, append_images=pages[1:])
    assert refusal(path, SeveralPicturesError).was == "2 pages"
    refusal(saved(tmp_path / "a.png", pages[0], save_all=True, append_images=pages[1:]), SeveralPicturesError)


@pytest.mark.parametrize("orientation", range(2, 9))
@pytest.mark.parametrize("ending", ["jpg", "tif", "png"])
def test_picture_that_asks_to_be_turned_is_refused(tmp_path, picture, ending, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = saved(tmp_path / f"a.{ending}", picture, exif=exif)
    assert refusal(path, TurnedPictureError).was == f"EXIF orientation {orientation}"


def test_upright_mark_changes_nothing(tmp_path, picture):
    exif = Image.Exif()
    exif[0x0112] = 1
    assert np.array_equal(only_frame(saved(tmp_path / "a.png", picture, exif=exif)), picture)


def test_rare_variants_are_refused_by_name(tmp_path, picture):
    content = bytearray(saved(tmp_path / "a.jpg", picture).read_bytes())
    content[content.index(b"\xff\xc0") + 1] = 0xC3
    (tmp_path / "b.jpg").write_bytes(content)
    assert refusal(tmp_path / "b.jpg", MediaFormatError).was == "frame header SOF3"
    bmp = bytearray(saved(tmp_path / "a.bmp", picture).read_bytes())
    bmp[30:34] = struct.pack("<I", 1)
    (tmp_path / "b.bmp").write_bytes(bmp)
    assert refusal(tmp_path / "b.bmp", MediaFormatError).was == "8 bits a pixel, compression 1"


def test_thumbnail_inside_a_jpeg_does_not_pass_for_its_end(tmp_path):
    grains = np.random.default_rng(5).integers(0, 256, (64, 64), dtype=np.uint8)
    small = io.BytesIO()
    Image.fromarray(grains[:8, :8]).save(small, "JPEG")
    whole = saved(tmp_path / "a.jpg", grains).read_bytes()
    with_thumbnail = (
        whole[:2] + b"\xff\xe5" + struct.pack(">H", len(small.getvalue()) + 2) + small.getvalue() + whole[2:]
    )
    path = tmp_path / "b.jpg"
    path.write_bytes(with_thumbnail)
    assert np.array_equal(only_frame(path), decoded(tmp_path / "a.jpg"))
    path.write_bytes(with_thumbnail[:-200])
    refusal(path, MediaTruncatedError)
