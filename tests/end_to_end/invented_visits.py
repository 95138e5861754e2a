"""Visits of one invented patient: a choroidal mass measured again and again, numbers chosen so that each is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

FOLLOWED = "2.25.81920733551040011277"

_DOCUMENT = """\
format: eye-ultrasound-exam/1
synthetic: yes
eyes_stated_by: "Lind^Tove"
patient: {{id: "{patient}", issuer: "{issuer}", name: "Holm^Maija"}}
session:
  start: {start}
  device: {{maker: Invented maker, model: Workstation A}}
captures:
  - id: od-a
    kind: still
    file: od-a.png
    eye: right
    scan: a-scan
    contact: {contact}
  - id: od-t9
    kind: still
    file: od-t9.png
    eye: right
    scan: transverse
    clock_hour: 9
    zone: posterior-to-equator
    contact: {contact}
    calibration:
      mm_per_pixel: {{x: 0.1, y: 0.1}}
      depth_axis: left-to-right
      pixel_convention: corner
      assumed_speed_m_per_s: {speed}
measurements:
  - id: height
    capture: od-a
    kind: height
    displayed: {{value: {height}, unit: mm}}
    structure: choroid
    finding: f1
  - id: base
    capture: od-t9
    kind: base
    points: [[20, 2], [20, {base_end}]]
    structure: choroid
    finding: f1
  - id: depth
    capture: od-t9
    kind: distance
    points: [[10, 20], [60, 20]]
    tissue: vitreous
    structure: vitreous
findings:
  - id: f1
    eye: right
    what: mass
    structure: choroid
    clock_hour: 9
    zone: posterior-to-equator
    captures: [od-a, od-t9]
{tracking}"""


def write_visit(folder: Path, start: str, height: str = "1.4", **stated: object) -> Path:
    """Write one visit's exam folder.

    Parameters
    ----------
    stated : object
        ``speed``, ``contact``, ``patient``, ``issuer``, ``base_end``; ``tracking`` as the finding's last line.
    """
    facts: dict[str, object] = {
        "patient": "INV-7",
        "issuer": "INVENTED",
        "contact": "through-lid",
        "speed": 1550,
        "base_end": 22,
        "tracking": f"    tracking_uid: {FOLLOWED}\n",
    }
    folder.mkdir(parents=True, exist_ok=True)
    text = _DOCUMENT.format(**{**facts, **stated, "start": start, "height": height})
    folder.joinpath("exam.yaml").write_text(text, encoding="utf-8")
    noise = np.random.default_rng(11).integers(0, 256, (2, 48, 64), dtype=np.uint8)
    Image.fromarray(noise[0]).save(folder / "od-a.png")
    Image.fromarray(noise[1]).save(folder / "od-t9.png")
    return folder
