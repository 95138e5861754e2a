from __future__ import annotations

import hashlib
import struct
import tracemalloc
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from fixtures.make.media import write_avi, write_mp4, write_numbered_frames
from gateway.errors.document import FrameError
from gateway.errors.media import (
    CodecError,
    ColourModelError,
    FrameSizeError,
    GreyRangeError,
    MediaChangedError,
    MediaDamagedError,
    MediaFormatError,
    MediaKindError,
    MediaMissingError,
    MediaNotReadableError,
    MediaTooLargeError,
    MediaTruncatedError,
    PixelDepthError,
    SeveralPicturesError,
    TurnedPictureError,
)
from gateway.intake.loops import open_loop, trimmed
from gateway.model.media import ColourModel, FrameSource
from tests.unit.intake.avi_by_hand import GREYS, avi, bottom_up
from tests.unit.intake.conftest import smooth_picture


def opened(*paths: Path) -> FrameSource:
    return open_loop(paths, name="media/shown")


def refusal(error: type[Exception], *paths: Path) -> Exception:
    with pytest.raises(error) as caught:
        opened(*paths)
    assert type(caught.value) is error
    assert str(caught.value).startswith("media/shown")
    assert str(paths[0].parent) not in str(caught.value)
    return caught.value


def all_equal(source: FrameSource, expected: list[np.ndarray]) -> bool:
    frames = list(source.frames())
    assert len(frames) == len(expected)
    return all(np.array_equal(frame, wanted) for frame, wanted in zip(frames, expected, strict=True))


def encoded(path: Path, frames: list[np.ndarray], codec: str, pixel_format: str, **settings: object) -> Path:
    """Write planes as they are: (rows, columns) grey, or whatever array PyAV takes for `pixel_format`."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=20, options=settings.pop("options", {}))
        stream.width, stream.height = settings.pop("size")
        stream.pix_fmt = pixel_format
        for name, value in settings.items():
            setattr(stream.codec_context, name, value)
        for array in frames:
            frame = av.VideoFrame.from_ndarray(array, format=pixel_format)
            frame.color_range = settings.get("color_range", 0)
            frame.colorspace = settings.get("colorspace", 2)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def yuv420(luma: np.ndarray, blue: int = 128, red: int = 128) -> np.ndarray:
    rows, columns = luma.shape
    chroma = [np.full((rows // 4, columns), value, np.uint8) for value in (blue, red)]
    return np.vstack([luma, *chroma])


# ---------------------------------------------------------------- exact kinds


@pytest.mark.parametrize("codec", ["rawvideo", "ffv1"])
def test_lossless_avi_comes_through_exactly_as_often_as_wanted(tmp_path, loop_frames, codec):
    path = write_avi(tmp_path / "a.avi", loop_frames, codec)
    source = opened(path)
    assert all_equal(source, loop_frames)
    assert all_equal(source, loop_frames)
    facts = source.facts
    assert (facts.rows, facts.columns, facts.frame_count) == (*loop_frames[0].shape, 12)
    assert facts.colour is ColourModel.GREY
    assert facts.lossy is None
    assert facts.source_sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert facts.frame_times_ms == tuple(50.0 * n for n in range(12))
    assert facts.frame_rate_hz == 20


def hand_made(tmp_path: Path, frames: list[np.ndarray], **settings: object) -> Path:
    rows, columns = frames[0].shape[:2]
    path = tmp_path / "hand.avi"
    path.write_bytes(avi([bottom_up(frame) for frame in frames], columns, rows, **settings))
    return path


@pytest.fixture
def odd_frames() -> list[np.ndarray]:
    """Noise of an odd size, so that every line of a bitmap has padding."""
    rng = np.random.default_rng(7)
    return [rng.integers(0, 256, (23, 37), dtype=np.uint8) for _ in range(6)]


def test_palette_avi_is_upright_and_exact(tmp_path, odd_frames):
    source = opened(hand_made(tmp_path, odd_frames, bits=8, palette=GREYS))
    assert all_equal(source, odd_frames)
    assert source.facts.derivation == (
        "Palette colours were written out for each pixel.",
        "Three equal colour channels were kept as one grey channel.",
    )


@pytest.mark.parametrize("bits", [24, 32])
def test_colour_bitmaps_are_upright_and_exact(tmp_path, odd_frames, bits):
    rgb = [np.dstack([frame, frame[::-1], frame[:, ::-1]]) for frame in odd_frames]
    stored = [frame[..., ::-1] for frame in rgb]
    if bits == 32:
        stored = [np.dstack([frame, np.zeros(frame.shape[:2], np.uint8)]) for frame in stored]
    source = opened(hand_made(tmp_path, stored, bits=bits))
    assert source.facts.colour is ColourModel.RGB
    assert all_equal(source, rgb)
    assert next(source.frames()).flags.c_contiguous


def test_grey_avi_of_code_y800_is_exact(tmp_path, odd_frames):
    path = tmp_path / "a.avi"
    path.write_bytes(avi([frame.tobytes() for frame in odd_frames], 37, 23, bits=8, compression=b"Y800"))
    source = opened(path)
    assert all_equal(source, odd_frames)
    assert source.facts.derivation == ()


def test_colour_in_the_last_frame_alone_keeps_colour_in_all(tmp_path, odd_frames):
    rgb = [np.dstack([frame] * 3) for frame in odd_frames]
    rgb[-1][3, 3, 0] ^= 1
    source = opened(hand_made(tmp_path, [frame[..., ::-1] for frame in rgb], bits=24))
    assert source.facts.colour is ColourModel.RGB
    assert all_equal(source, rgb)


@pytest.mark.parametrize("with_index", [True, False])
def test_headers_that_state_no_number_of_frames_are_taken_with_what_is_there(tmp_path, odd_frames, with_index):
    path = hand_made(tmp_path, odd_frames, bits=8, palette=GREYS, stated=0, with_index=with_index)
    assert all_equal(opened(path), odd_frames)


def test_dropped_frames_are_shown_as_repeats_and_it_is_said(tmp_path, odd_frames):
    a, _, _, b, c, _ = odd_frames
    path = tmp_path / "a.avi"
    path.write_bytes(avi([bottom_up(a), b"", b"", bottom_up(b), bottom_up(c), b""], 37, 23, bits=8, palette=GREYS))
    source = opened(path)
    assert all_equal(source, [a, a, a, b, c, c])
    assert source.facts.frame_times_ms == (0, 50, 100, 150, 200, 250)
    assert "3 empty frames of the file repeat the frame before them, as it asks." in source.facts.derivation


def test_loop_that_begins_with_a_dropped_frame_is_refused(tmp_path, odd_frames):
    path = tmp_path / "a.avi"
    path.write_bytes(avi([b"", bottom_up(odd_frames[0])], 37, 23, bits=8, palette=GREYS))
    refusal(MediaDamagedError, path)


# ---------------------------------------------------------------- ranges of grey


def lossless_h264(path: Path, luma: list[np.ndarray], **settings: object) -> Path:
    frames = [yuv420(frame, settings.pop("blue", 128), settings.pop("red", 128)) for frame in luma]
    rows, columns = luma[0].shape
    return encoded(path, frames, "libx264", "yuv420p", size=(columns, rows), options={"qp": "0"}, **settings)


@pytest.fixture
def luma_ramp() -> list[np.ndarray]:
    return [np.arange(256, dtype=np.uint8).reshape(16, 16).repeat(4, 0).repeat(4, 1)]


def test_h264_that_states_no_range_is_spread_from_16_to_235(tmp_path, luma_ramp):
    source = opened(lossless_h264(tmp_path / "a.mp4", luma_ramp))
    (frame,) = source.frames()
    by_level = {int(y): int(v) for y, v in zip(luma_ramp[0].flat, frame.flat, strict=True)}
    # Worked by hand: (126 - 16) * 255 / 219 = 128.08.
    assert [by_level[y] for y in (0, 16, 17, 126, 235, 255)] == [0, 0, 1, 128, 255, 255]
    assert "not stated, so as ITU-T H.264 E.2.1 infers" in source.facts.derivation[0]
    assert "round((Y - 16) * 255 / 219)" in source.facts.derivation[0]


def test_h264_that_states_full_range_is_kept_as_decoded(tmp_path, luma_ramp):
    source = opened(lossless_h264(tmp_path / "a.mp4", luma_ramp, color_range=2))
    assert all_equal(source, luma_ramp)
    assert source.facts.derivation[0] == "Luma has range 0 to 255 (stated in the file) and was kept as decoded."


def test_h264_that_states_limited_range_is_spread_on_the_files_word(tmp_path, luma_ramp):
    path = lossless_h264(tmp_path / "a.mp4", luma_ramp, color_range=1, color_primaries=1, color_trc=1, colorspace=1)
    source = opened(path)
    assert "16 to 235 (stated in the file)" in source.facts.derivation[0]
    assert next(source.frames()).max() == 255


def test_chroma_within_two_of_neutral_counts_as_grey_and_the_deviation_is_told(tmp_path, luma_ramp):
    source = opened(lossless_h264(tmp_path / "a.mp4", luma_ramp, color_range=2, blue=126, red=129))
    assert source.facts.colour is ColourModel.GREY
    assert "(within 2 of 128, at most 2 accepted)" in source.facts.derivation[1]


def test_chroma_three_from_neutral_is_colour(tmp_path, luma_ramp):
    source = opened(lossless_h264(tmp_path / "a.mp4", luma_ramp, color_range=2, blue=131))
    assert source.facts.colour is ColourModel.RGB
    assert next(source.frames()).shape == (64, 64, 3)
    assert "ITU-R BT.601" in source.facts.derivation[1]
    assert source.facts.lossy.ratio > 0


def test_yuy2_avi_is_taken_apart_without_change(tmp_path):
    rng = np.random.default_rng(2)
    luma = [rng.integers(16, 236, (20, 32), dtype=np.uint8) for _ in range(3)]
    packed = [np.dstack([frame, np.full_like(frame, 128)]).tobytes() for frame in luma]
    path = tmp_path / "a.avi"
    path.write_bytes(avi(packed, 32, 20, bits=16, compression=b"YUY2"))
    source = opened(path)
    assert all_equal(source, [np.rint((frame - 16.0) * 255 / 219).astype(np.uint8) for frame in luma])
    assert "ITU-R BT.601" in source.facts.derivation[0]
    assert source.facts.lossy is None


def test_range_that_nobody_states_is_not_guessed(tmp_path, luma_ramp):
    frames = [yuv420(frame) for frame in luma_ramp]
    path = encoded(tmp_path / "a.avi", frames, "ffv1", "yuv420p", size=(64, 64))
    refusal(GreyRangeError, path)


# ---------------------------------------------------------------- lossy kinds


def test_mjpeg_is_lossy_by_jpeg_with_the_ratio_of_its_packets(tmp_path, loop_frames):
    path = write_avi(tmp_path / "a.avi", loop_frames, "mjpeg")
    facts = opened(path).facts
    with av.open(str(path)) as container:
        stream_bytes = sum(packet.size for packet in container.demux(video=0))
    assert facts.lossy.method == "ISO_10918_1"
    assert facts.lossy.ratio == pytest.approx(12 * loop_frames[0].size / stream_bytes)


def test_h264_with_reordered_frames_comes_in_the_order_shown(tmp_path, loop_frames):
    path = write_mp4(tmp_path / "a.mp4", loop_frames, Fraction(30_000, 1001), crf=10)
    source = opened(path)
    assert source.facts.lossy.method == "ISO_14496_10"
    assert source.facts.frame_rate_hz == pytest.approx(29.97, abs=0.001)
    assert source.facts.frame_times_ms[:3] == pytest.approx((0, 33.367, 66.733), abs=0.001)
    for number, frame in enumerate(source.frames()):
        errors = [np.abs(frame.astype(int) - other).mean() for other in loop_frames]
        assert int(np.argmin(errors)) == number


def test_times_that_keep_to_no_rate_are_given_without_one(tmp_path, loop_frames):
    path = tmp_path / "a.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=1000)
        stream.height, stream.width = loop_frames[0].shape
        stream.pix_fmt = "yuv420p"
        for picture, time_ms in zip(
            loop_frames, (0, 50, 130, 140, 200, 300, 310, 330, 400, 500, 501, 600), strict=True
        ):
            frame = av.VideoFrame.from_ndarray(yuv420(picture), format="yuv420p")
            frame.pts, frame.time_base = time_ms, Fraction(1, 1000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    facts = opened(path).facts
    assert facts.frame_times_ms == (0, 50, 130, 140, 200, 300, 310, 330, 400, 500, 501, 600)
    assert facts.frame_rate_hz is None


def test_sound_is_left_out_and_it_is_said(tmp_path, loop_frames):
    path = tmp_path / "a.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=20)
        stream.height, stream.width = loop_frames[0].shape
        stream.pix_fmt = "yuv420p"
        sound = container.add_stream("aac", rate=44_100)
        for picture in loop_frames:
            container.mux(stream.encode(av.VideoFrame.from_ndarray(yuv420(picture), format="yuv420p")))
        container.mux(stream.encode())
        silence = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        silence.sample_rate = 44_100
        container.mux(sound.encode(silence))
        container.mux(sound.encode())
    facts = opened(path).facts
    assert facts.frame_count == 12
    assert "A track of kind audio in the file was left out." in facts.derivation


# ---------------------------------------------------------------- cut and damaged files


@pytest.mark.parametrize("codec", ["rawvideo", "mjpeg", "ffv1"])
@pytest.mark.parametrize("share", [0.02, 0.25, 0.5, 0.75, 0.9, 0.999])
def test_cut_avi_is_refused_with_whole_frames_of_stated_ones(tmp_path, loop_frames, codec, share):
    whole = write_avi(tmp_path / "whole.avi", loop_frames, codec).read_bytes()
    path = tmp_path / "cut.avi"
    path.write_bytes(whole[: int(len(whole) * share)])
    error = refusal(MediaTruncatedError, path)
    if share == 0.5 and codec == "rawvideo":
        assert "5 whole frames of 12" in error.was or "6 whole frames of 12" in error.was


def test_avi_cut_at_every_place_is_refused(tmp_path, odd_frames):
    whole = hand_made(tmp_path, odd_frames[:2], bits=8, palette=GREYS).read_bytes()
    path = tmp_path / "cut.avi"
    for end in range(12, len(whole), 97):
        path.write_bytes(whole[:end])
        with pytest.raises(MediaTruncatedError):
            opened(path)


def test_avi_whose_headers_promise_more_frames_is_refused(tmp_path, odd_frames):
    path = hand_made(tmp_path, odd_frames, bits=8, palette=GREYS, stated=9)
    assert refusal(MediaTruncatedError, path).was == "6 whole frames of 9"


def test_avi_whose_recording_was_never_finished_is_refused(tmp_path, odd_frames):
    content = bytearray(hand_made(tmp_path, odd_frames, bits=8, palette=GREYS, stated=0).read_bytes())
    content[4:8] = bytes(4)
    (tmp_path / "b.avi").write_bytes(content)
    assert "never finished" in refusal(MediaTruncatedError, tmp_path / "b.avi").was


@pytest.mark.parametrize("movflags", ["faststart", ""])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.5, 0.9, 0.999])
def test_cut_mp4_is_refused_wherever_its_table_stands(tmp_path, loop_frames, share, movflags):
    source = write_mp4(tmp_path / "whole.mp4", loop_frames, crf=10)
    if not movflags:
        source = with_table_last(source)
    content = source.read_bytes()
    path = tmp_path / "cut.mp4"
    path.write_bytes(content[: int(len(content) * share)])
    refusal(MediaTruncatedError, path)


def with_table_last(path: Path) -> Path:
    """Copy an MP4 so that its table of frames follows the frames, as a recorder leaves it."""
    copy = path.with_name("late.mp4")
    with av.open(str(path)) as container, av.open(str(copy), "w") as output:
        stream = output.add_stream_from_template(container.streams.video[0])
        for packet in container.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                output.mux(packet)
    content = copy.read_bytes()
    assert content.index(b"moov") > content.index(b"mdat")
    return copy


@pytest.mark.parametrize("kind", ["mjpeg", "ffv1", "h264"])
def test_hole_in_a_file_of_full_length_is_refused(tmp_path, loop_frames, kind):
    if kind == "h264":
        content = bytearray(write_mp4(tmp_path / "a.mp4", loop_frames, crf=5).read_bytes())
    else:
        content = bytearray(write_avi(tmp_path / "a.avi", loop_frames, kind).read_bytes())
    middle = len(content) // 2
    content[middle : middle + len(content) // 8] = bytes(len(content) // 8)
    path = tmp_path / "hole"
    path.write_bytes(content)
    with pytest.raises((MediaDamagedError, MediaTruncatedError)):
        opened(path)


@pytest.mark.parametrize("kind", ["mjpeg", "h264"])
def test_frame_that_a_player_would_patch_up_is_refused(tmp_path, loop_frames, kind):
    path = tmp_path / "a"
    if kind == "h264":
        write_mp4(path, loop_frames, crf=5)
    else:
        write_avi(path, loop_frames, kind)
    with av.open(str(path)) as container:
        packet = max((p for p in container.demux(video=0) if p.size), key=lambda p: p.size)
        at = packet.pos + packet.size * 2 // 3
    content = bytearray(path.read_bytes())
    content[at : at + 24] = np.random.default_rng(0).integers(0, 255, 24, dtype=np.uint8).tobytes()
    path.write_bytes(content)
    # Why the decoder is told to stop at the first error: left alone it hands out every frame.
    with av.open(str(path)) as container:
        assert sum(1 for _ in container.decode(video=0)) == 12
    refusal(MediaDamagedError, path)


def test_file_changed_between_readings_is_refused(tmp_path, loop_frames):
    path = write_avi(tmp_path / "a.avi", loop_frames)
    source = opened(path)
    write_avi(path, loop_frames[:6])
    with pytest.raises(MediaChangedError):
        next(source.frames())
    path.unlink()
    with pytest.raises(MediaMissingError):
        next(source.frames())


# ---------------------------------------------------------------- refused kinds


def test_other_encodings_are_refused_by_name(tmp_path, loop_frames):
    path = encoded(tmp_path / "a.avi", [yuv420(f) for f in loop_frames], "mpeg4", "yuv420p", size=(64, 48))
    assert refusal(CodecError, path).was == "mpeg4"


def test_ten_bits_are_refused(tmp_path):
    deep = [np.full((48, 64), 512, np.uint16)]
    refusal(PixelDepthError, encoded(tmp_path / "a.avi", deep, "ffv1", "gray10le", size=(64, 48)))


def test_opacity_in_a_loop_is_refused(tmp_path):
    frames = [np.full((48, 64, 4), 200, np.uint8)]
    refusal(ColourModelError, encoded(tmp_path / "a.avi", frames, "ffv1", "bgra", size=(64, 48)))


def test_two_movies_in_one_file_are_refused(tmp_path, loop_frames):
    path = tmp_path / "a.mp4"
    with av.open(str(path), "w") as container:
        streams = [container.add_stream("libx264", rate=20) for _ in range(2)]
        for stream in streams:
            stream.height, stream.width = loop_frames[0].shape
            stream.pix_fmt = "yuv420p"
        for stream in streams:
            container.mux(stream.encode(av.VideoFrame.from_ndarray(yuv420(loop_frames[0]), format="yuv420p")))
            container.mux(stream.encode())
    assert refusal(SeveralPicturesError, path).was == "2 tracks"


@pytest.mark.parametrize(
    "matrix",
    [
        (0, 1 << 16, 0, -(1 << 16), 0, 0, 0, 0, 1 << 30),
        (-(1 << 16), 0, 0, 0, 1 << 16, 0, 64 << 16, 0, 1 << 30),
    ],
    ids=["turned", "mirrored"],
)
def test_movie_that_asks_to_be_turned_or_mirrored_is_refused(tmp_path, loop_frames, matrix):
    content = bytearray(write_mp4(tmp_path / "a.mp4", loop_frames).read_bytes())
    # ISO/IEC 14496-12, 8.3.2: the matrix stands 40 bytes into a track header box of version 0.
    at = content.index(b"tkhd") + 4 + 40
    assert struct.unpack(">9i", content[at : at + 36])[0] == 1 << 16
    content[at : at + 36] = struct.pack(">9i", *matrix)
    path = tmp_path / "b.mp4"
    path.write_bytes(content)
    refusal(TurnedPictureError, path)


def test_movie_that_claims_huge_frames_is_refused(tmp_path):
    path = tmp_path / "a.avi"
    path.write_bytes(avi([bytes(64)], 16_000, 16_000, bits=24))
    refusal(MediaTooLargeError, path)
    # Beyond its own limit libav takes no size at all from the header, so there is nothing to decode.
    path.write_bytes(avi([bytes(64)], 20_000, 20_000, bits=24))
    refusal(MediaDamagedError, path)


def test_text_empty_file_and_folder_are_refused(tmp_path):
    text, empty, folder = tmp_path / "a.avi", tmp_path / "b.avi", tmp_path / "c.avi"
    text.write_text("not a movie")
    empty.touch()
    folder.mkdir()
    assert refusal(MediaFormatError, text).was == "text"
    refusal(MediaNotReadableError, empty)
    refusal(MediaNotReadableError, folder)
    refusal(MediaMissingError, tmp_path / "d.avi")


# ---------------------------------------------------------------- numbered frames


def test_numbered_frames_come_in_order_and_exactly(tmp_path, loop_frames):
    paths = write_numbered_frames(tmp_path / "loop", loop_frames)
    source = opened(*paths)
    assert all_equal(source, loop_frames)
    assert all_equal(source, loop_frames)
    digests = b"".join(hashlib.sha256(path.read_bytes()).digest() for path in paths)
    assert source.facts.source_sha256 == hashlib.sha256(digests).hexdigest()
    assert source.facts.frame_count == 12
    assert source.facts.frame_times_ms is None
    assert source.facts.lossy is None


def test_one_still_is_not_a_loop(tmp_path, loop_frames):
    (path,) = write_numbered_frames(tmp_path, loop_frames[:1])
    assert refusal(MediaKindError, path).was == "PNG"


def test_movie_among_numbered_frames_is_refused(tmp_path, loop_frames):
    paths = write_numbered_frames(tmp_path, loop_frames[:2])
    refusal(MediaKindError, paths[0], write_avi(tmp_path / "a.avi", loop_frames))


def test_numbered_frames_of_different_sizes_are_refused_by_name(tmp_path):
    paths = write_numbered_frames(tmp_path, [smooth_picture(), smooth_picture(rows=40)])
    error = refusal(FrameSizeError, *paths)
    assert "frame 2: f002.png" in str(error)
    assert error.was == "64 x 40, the first has 64 x 48"


def test_one_coloured_numbered_frame_gives_all_three_channels(tmp_path, loop_frames):
    red = np.dstack([loop_frames[1], loop_frames[0], loop_frames[0]])
    paths = write_numbered_frames(tmp_path, [loop_frames[0], red])
    source = opened(*paths)
    assert all_equal(source, [np.dstack([loop_frames[0]] * 3), red])
    assert "three equal channels" in source.facts.derivation[0]


def test_numbered_jpeg_frames_are_lossy(tmp_path, loop_frames):
    paths = []
    for number, frame in enumerate(loop_frames):
        paths.append(tmp_path / f"{number}.jpg")
        Image.fromarray(frame).save(paths[-1])
    facts = opened(*paths).facts
    assert facts.lossy.ratio == pytest.approx(12 * loop_frames[0].size / sum(p.stat().st_size for p in paths))


def test_numbered_frame_changed_between_readings_is_refused(tmp_path, loop_frames):
    paths = write_numbered_frames(tmp_path, loop_frames)
    source = opened(*paths)
    paths[2].write_bytes(paths[3].read_bytes())
    frames = source.frames()
    next(frames)
    next(frames)
    with pytest.raises(MediaChangedError, match="f003"):
        next(frames)


# ---------------------------------------------------------------- the kept part


def test_kept_frames_count_time_from_the_first_kept(tmp_path, loop_frames):
    source = opened(write_avi(tmp_path / "a.avi", loop_frames))
    kept = trimmed(source, 3, 7)
    assert all_equal(kept, loop_frames[2:7])
    assert kept.facts.frame_count == 5
    assert kept.facts.frame_times_ms == (0, 50, 100, 150, 200)
    assert kept.facts.frame_rate_hz == 20
    assert kept.facts.derivation[-1] == "Frames 3 to 7 of 12 were kept."
    assert kept.facts.source_sha256 == source.facts.source_sha256


def test_keeping_everything_changes_nothing(tmp_path, loop_frames):
    source = opened(write_avi(tmp_path / "a.avi", loop_frames))
    assert trimmed(source, 1, 12) is source


@pytest.mark.parametrize(("first", "last"), [(0, 3), (5, 4), (1, 13), (13, 13)])
def test_frames_that_are_not_there_cannot_be_kept(tmp_path, loop_frames, first, last):
    source = opened(write_avi(tmp_path / "a.avi", loop_frames))
    with pytest.raises(FrameError, match="of 12"):
        trimmed(source, first, last)


# ---------------------------------------------------------------- memory


def test_long_loop_is_read_with_few_frames_in_memory(tmp_path):
    line = np.random.default_rng(4).integers(0, 256, (480, 640), dtype=np.uint8)
    path = tmp_path / "long.avi"
    frame = bottom_up(line)
    path.write_bytes(avi([frame] * 600, 640, 480, bits=8, palette=GREYS))
    assert path.stat().st_size > 180_000_000
    tracemalloc.start()
    try:
        resident = resident_bytes()
        source = opened(path)
        assert sum(1 for _ in source.frames()) == 600
        _, most = tracemalloc.get_traced_memory()
        grown = resident_bytes() - resident
    finally:
        tracemalloc.stop()
    # One 640 x 480 frame takes 0.3 MB as grey and 0.9 MB as RGB.
    assert most < 12_000_000
    assert grown < 60_000_000


def resident_bytes() -> int:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * 4096
