"""A small exam on disk that tests bend in one place at a time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from fixtures.make.media import write_avi

DOCUMENT = """\
format: eye-ultrasound-exam/1
synthetic: yes
eyes_stated_by: "Lind^Tove"
patient:
  id: "INV-1"
  issuer: "INVENTED"
  name: "Holm^Maija"
session:
  start: 2026-03-02T09:30:00+01:00
captures:
  - id: od-t3
    kind: still
    file: od-t3.png
    eye: right
    scan: transverse
    clock_hour: 3
    zone: equator
    calibration:
      mm_per_pixel: {x: 0.1, y: 0.1}
      depth_axis: left-to-right
      pixel_convention: corner
      assumed_speed_m_per_s: 1550
  - id: os-t9
    kind: still
    file: os-t9.png
    eye: left
    scan: transverse
    clock_hour: 9
    calibration:
      mm_per_pixel: {x: 0.1, y: 0.1}
      depth_axis: left-to-right
      pixel_convention: corner
      assumed_speed_m_per_s: 1550
  - id: od-loop
    kind: loop
    file: od-loop.avi
    eye: right
    scan: longitudinal
    clock_hour: 9
    frame_rate_hz: 20
measurements:
  - id: m-od
    capture: od-t3
    kind: distance
    points: [[10, 20], [60, 20]]
    displayed: {value: 5.00, unit: mm}
    tissue: vitreous
    structure: vitreous
  - id: m-os
    capture: os-t9
    kind: distance
    points: [[10, 20], [50, 20]]
    structure: vitreous
"""


def write_small_exam(folder: Path, document: str = DOCUMENT, *, frames: int = 12) -> Path:
    """Write the document and its media; return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    folder.joinpath("exam.yaml").write_text(document, encoding="utf-8")
    noise = np.random.default_rng(7).integers(0, 256, (frames, 48, 64), dtype=np.uint8)
    Image.fromarray(noise[0]).save(folder / "od-t3.png")
    Image.fromarray(noise[1]).save(folder / "os-t9.png")
    write_avi(folder / "od-loop.avi", list(noise), codec="mjpeg")
    return folder
