"""Whatever bytes lie in a media file, only our own errors come out; lossless pictures come back exactly."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from PIL import Image

from fixtures.make.media import write_avi
from gateway.errors import GatewayError
from gateway.intake.loops import open_loop
from gateway.intake.stills import open_still

NO_RESET = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)

pictures = arrays.arrays(np.uint8, st.tuples(st.integers(1, 40), st.integers(1, 40)))


@NO_RESET
@given(picture=pictures, kind=st.sampled_from(["PNG", "BMP", "TIFF"]))
def test_lossless_stills_come_back_exactly(tmp_path: Path, picture: np.ndarray, kind: str) -> None:
    # Written by Pillow's encoders.
    path = tmp_path / "still"
    Image.fromarray(picture).save(path, format=kind)
    source = open_still(path, name="still")
    (frame,) = source.frames()
    assert np.array_equal(frame, picture)
    assert source.facts.lossy is None


@pytest.fixture(scope="module")
def seeds(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """One whole file of each format, to be damaged."""
    noise = np.random.default_rng(3).integers(0, 256, (4, 32, 48), dtype=np.uint8)
    found = {}
    for kind in ("PNG", "JPEG", "TIFF", "BMP"):
        buffer = io.BytesIO()
        Image.fromarray(noise[0]).save(buffer, format=kind)
        found[kind] = buffer.getvalue()
    for codec in ("rawvideo", "mjpeg"):
        path = write_avi(tmp_path_factory.mktemp("avi") / "loop.avi", list(noise), codec=codec)
        found[codec] = path.read_bytes()
    return found


@NO_RESET
@given(
    kind=st.sampled_from(["PNG", "JPEG", "TIFF", "BMP", "rawvideo", "mjpeg"]),
    cut=st.floats(0, 1),
    changes=st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 255)), max_size=6),
)
def test_damaged_files_raise_only_our_errors(
    tmp_path: Path, seeds: dict[str, bytes], kind: str, cut: float, changes: list[tuple[float, int]]
) -> None:
    content = bytearray(seeds[kind])
    for place, value in changes:
        content[int(place * len(content))] = value
    path = tmp_path / "file"
    path.write_bytes(content[: int(cut * len(content))])
    for opened in (lambda: open_still(path, name="file"), lambda: open_loop([path], name="file")):
        with contextlib.suppress(GatewayError):
            for frame in opened().frames():
                assert frame.dtype == np.uint8


@NO_RESET
@given(content=st.binary(max_size=300))
def test_random_bytes_raise_only_our_errors(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "file"
    path.write_bytes(content)
    for opened in (lambda: open_still(path, name="file"), lambda: open_loop([path], name="file")):
        with pytest.raises(GatewayError):
            opened()
