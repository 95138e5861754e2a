"""Readers of files with several pictures, of 16-bit grey, and of ZIP archives."""

from __future__ import annotations

import io
import zipfile
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import numpy as np
from PIL import Image

from gateway.intake.archives import unpacked
from gateway.intake.loops import open_loop
from gateway.intake.stills import open_still
from tests.fuzz.target import Target


def _noise(*shape: int, most: int = 256, kind: type = np.uint8) -> np.ndarray:
    return np.random.default_rng(5).integers(0, most, shape).astype(kind)


def _animations() -> list[bytes]:
    found = []
    for frames in (_noise(4, 12, 16), _noise(3, 8, 8, 3), _noise(3, 8, 8, most=60_000, kind=np.uint16)):
        images = [Image.fromarray(frame) for frame in frames]
        for kind in ("TIFF",) if frames.dtype == np.uint16 else ("GIF", "PNG", "TIFF"):
            buffer = io.BytesIO()
            images[0].save(buffer, format=kind, save_all=True, append_images=images[1:])
            found.append(buffer.getvalue())
    return found


def _deep_stills() -> list[bytes]:
    found = []
    for kind in ("PNG", "TIFF"):
        buffer = io.BytesIO()
        Image.fromarray(_noise(16, 24, most=4096, kind=np.uint16)).save(buffer, format=kind)
        found.append(buffer.getvalue())
    return found


def _archives() -> list[bytes]:
    found = []
    for method in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        buffer = io.BytesIO()
        with zipfile.ZipFile(buffer, "w", method) as archive:
            archive.mkdir("visit")
            archive.writestr("visit/exam.yaml", b"format: eye-ultrasound-exam/1\n" * 9)
            archive.writestr("visit/media/\u00f6.png", bytes(300))
        found.append(buffer.getvalue())
    return found


@cache
def _scratch() -> Path:
    return Path(mkdtemp()) / "fuzzed"


def _read_loop(content: bytes) -> None:
    _scratch().write_bytes(content)
    for _ in open_loop([_scratch()], name="fuzzed").frames():
        pass


def _read_still(content: bytes) -> None:
    _scratch().write_bytes(content)
    for _ in open_still(_scratch(), name="fuzzed").frames():
        pass


def _unpack(content: bytes) -> None:
    _scratch().write_bytes(content)
    with unpacked(_scratch()) as found:
        home = found.folder.resolve()
        assert all(path.resolve().is_relative_to(home) and not path.is_symlink() for path in home.rglob("*"))


_TIFF = (b"II*\0", b"MM\0*", b"\x00\x01\x03\x00", b"\x02\x01\x03\x00")
_PNG = (b"acTL", b"fcTL", b"fdAT", b"IDAT", b"IEND", b"tRNS")
PICTURE_LOOPS = Target(_animations, _read_loop, (*_TIFF, *_PNG, b"GIF89a", b"\x21\xf9\x04", b"\x2c\x00", b"\x3b"))
DEEP_STILLS = Target(_deep_stills, _read_still, (*_TIFF, *_PNG))
ARCHIVE = Target(
    _archives,
    _unpack,
    (b"PK\x01\x02", b"PK\x03\x04", b"PK\x05\x06", b"PK\x06\x06", b"PK\x06\x07", b"../", b"\\", b"\0"),
)
