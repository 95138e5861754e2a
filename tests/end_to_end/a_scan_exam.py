"""An invented exam with A-scans of every kind, whose echoes lie where the numbers below put them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

MM_PER_PIXEL = 0.1
WALLS_PX = (30, 80, 150)
"""Columns of the bright lines on the picture; lines begin at column 10."""
DEPTHS_MM = tuple((column + 0.5 - 10) * MM_PER_PIXEL for column in WALLS_PX)

DOCUMENT = """\
format: eye-ultrasound-exam/1
synthetic: yes
eyes_stated_by: "Lind^Tove"
patient: {id: "INV-1", issuer: "INVENTED", name: "Holm^Maija"}
session:
  start: 2026-03-02T09:30:00+01:00
  probe: {type: SECTOR_MECH, nominal_frequency_mhz: 10, cycles: 2}
captures:
  - id: od-ax
    kind: still
    file: od-ax.png
    eye: right
    scan: axial-horizontal
    calibration:
      mm_per_pixel: {x: 0.1, y: 0.1}
      depth_axis: left-to-right
      assumed_speed_m_per_s: 1550
      region: {x0: 0, y0: 0, x1: 199, y1: 99}
      a_scan_strip:
        region: {x0: 0, y0: 100, x1: 199, y1: 119}
        mm_per_pixel: 0.1
        depth_axis: left-to-right
        percent_per_pixel: -5
        zero: [10, 119]
    a_scan:
      standardized: yes
      tissue_sensitivity_db: 72
      spikes: [{structure: choroid, percent: 42}]
      differences: [{structure: retina, reference: sclera, gain_db: 58, reference_gain_db: 44}]
    a_scan_lines:
      - {id: axis, from: [10, 50], to: [190, 50]}
      - {id: at-vitreous, from: [10, 50], to: [190, 50], tissue: vitreous, band_mm: 0.5}
      - {id: across, from: [50, 10], to: [50, 90]}
  - id: od-a
    kind: still
    file: od-a.png
    eye: right
    scan: a-scan
    contact: immersion
    lens: crystalline
    calibration:
      mm_per_pixel: {x: 0.1, y: 0.1}
      assumed_speed_m_per_s: 1532
      a_scan_strip: {region: {x0: 0, y0: 0, x1: 199, y1: 119}, mm_per_pixel: 0.15, depth_axis: left-to-right}
  - id: os-loop
    kind: loop
    files: [f1.png, f2.png, f3.png, f4.png]
    frame_times_ms: [0, 50, 100, 150]
    keep: {first: 2, last: 4}
    eye: left
    scan: longitudinal
    clock_hour: 3
    calibration: {mm_per_pixel: {x: 0.1, y: 0.1}, depth_axis: left-to-right}
    a_scan_lines: [{id: late, from: [10, 50], to: [190, 50], frame: 4}]
  - id: os-a
    kind: still
    file: os-a.png
    eye: left
    scan: a-scan
    a_scan: {samples: {values: [0, 0, 10, 90, 10, 0, 0, 5, 60, 5, 0], interval_us: 0.5, tissue: vitreous}}
measurements:
  - id: by-layers
    capture: od-a
    kind: axial-length
    structure: eyeball
    gates:
      - {segment: anterior-chamber, start_us: 0, end_us: 4.60, speed_m_per_s: 1532, speed_tolerance_m_per_s: 5}
      - {segment: lens, start_us: 4.60, end_us: 10.30, tissue: lens, speed_tolerance_m_per_s: 20}
      - {segment: vitreous, start_us: 10.30, end_us: 30.70, tissue: vitreous, speed_tolerance_m_per_s: 5}
    gate_tolerance_us: 0.02
  - id: by-formula
    capture: od-a
    kind: axial-length
    structure: eyeball
    displayed: {value: 23.00, unit: mm}
    formula: hoffer-1994-phakic
"""


def write_a_scan_exam(folder: Path, document: str = DOCUMENT) -> Path:
    """Write the document and its media; return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    folder.joinpath("exam.yaml").write_text(document, encoding="utf-8")
    picture = np.full((120, 200), 4, dtype=np.uint8)
    picture[:100, WALLS_PX] = 200
    empty = np.full_like(picture, 4)
    for number, name in enumerate(("od-ax", "od-a", "os-a")):
        # No two captures are the same picture: a pixel in the corner tells them apart.
        own = picture.copy()
        own[-1, -1] += number
        Image.fromarray(own).save(folder / f"{name}.png")
    for number in (1, 2, 3, 4):
        Image.fromarray(picture if number == 4 else empty + number).save(folder / f"f{number}.png")
    return folder
