"""Files of raw scan lines, as stills and as loops."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import numpy as np
from PIL import Image

from gateway.errors import GatewayError
from gateway.intake.scan_lines import open_scan_lines
from gateway.model.calibration import DepthAxis
from gateway.model.capture import Capture, CaptureKind
from gateway.model.laterality import Eye
from gateway.model.position import ProbePosition, Scan
from gateway.model.scan_lines import ChosenScanLine, ScanLines, SectorLines
from tests.fuzz.target import Target

STATED = ScanLines(
    SectorLines(8.0, (-20.0, 20.0), is_even=True),
    DepthAxis.LEFT_TO_RIGHT,
    1550.0,
    0.5,
    0.0,
    0.5,
    chosen=(ChosenScanLine("a", 2),),
)


def _files() -> list[bytes]:
    noise = np.random.default_rng(5).integers(0, 200, (3, 9, 24))
    found = []
    for samples in (noise[0].astype(np.uint8), noise[0].astype(">u2"), np.asfortranarray(noise.astype("<u2"))):
        buffer = io.BytesIO()
        np.save(buffer, samples)
        found.append(buffer.getvalue())
    for kind in ("PNG", "TIFF"):
        buffer = io.BytesIO()
        Image.fromarray(noise[0].astype(np.uint16)).save(buffer, format=kind)
        found.append(buffer.getvalue())
    return found


@cache
def _scratch() -> Path:
    return Path(mkdtemp()) / "lines"


def _read(content: bytes) -> None:
    _scratch().write_bytes(content)
    refusals = []
    for kind in CaptureKind:
        capture = Capture("c", kind, ("lines",), Eye.RIGHT, ProbePosition(Scan.MACULA))
        try:
            source = open_scan_lines(_scratch(), capture, STATED, name="lines")
            source.a_scan_lines()
        except GatewayError as error:
            refusals.append(error)
            continue
        for _ in source.frames():
            pass
        source.line(1)
    if len(refusals) == len(CaptureKind):
        raise refusals[0]


SCAN_LINES = Target(
    _files,
    _read,
    (b"\x93NUMPY", b"'descr': '|O'", b"'descr': '<f8'", b"'fortran_order': True", b"(999999999, 999999999)", b"(0, 5)"),
)
