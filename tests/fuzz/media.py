"""Readers of stills and loops: also every frame is fetched, as the builders will."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory, mkdtemp

import numpy as np
from PIL import Image

from fixtures.make.media import write_avi
from gateway.intake.loops import open_loop
from gateway.intake.stills import open_still
from tests.fuzz.target import Target

_DEMO = Path(__file__).parents[2] / "fixtures" / "demo-exam" / "media"


def _noise(*shape: int) -> np.ndarray:
    return np.random.default_rng(3).integers(0, 256, shape, dtype=np.uint8)


def _stills() -> list[bytes]:
    found = []
    for picture in (_noise(24, 32), _noise(8, 8, 3)):
        for kind in ("PNG", "JPEG", "TIFF", "BMP"):
            buffer = io.BytesIO()
            Image.fromarray(picture).save(buffer, format=kind)
            found.append(buffer.getvalue())
    return found


def _loops() -> list[bytes]:
    found = []
    with TemporaryDirectory() as folder:
        for codec in ("rawvideo", "mjpeg"):
            found.append(write_avi(Path(folder) / "loop.avi", list(_noise(4, 32, 48)), codec=codec).read_bytes())
    return found


@cache
def _scratch() -> Path:
    return Path(mkdtemp()) / "fuzzed"


def _read_still(content: bytes) -> None:
    _scratch().write_bytes(content)
    for _ in open_still(_scratch(), name="fuzzed").frames():
        pass


def _read_loop(content: bytes) -> None:
    _scratch().write_bytes(content)
    for _ in open_loop([_scratch()], name="fuzzed").frames():
        pass


_WORDS = (
    b"IHDR",
    b"IDAT",
    b"PLTE",
    b"tRNS",
    b"acTL",
    b"\xff\xd8",
    b"\xff\xdb",
    b"\xff\xc4",
    b"\xff\xd9",
    b"II*\0",
    b"MM\0*",
)
STILLS = Target(_stills, _read_still, _WORDS)
LOOPS = Target(_loops, _read_loop, (b"RIFF", b"LIST", b"movi", b"00dc", b"00db", b"idx1", b"strh", b"strf"))
