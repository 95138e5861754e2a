"""A phantom drawn at four assumed speeds and three pivots, measured end to end against what it was drawn with.

A dome-shaped mass of 1640 m/s behind vitreous of 1532 m/s (Hoffer, J Cataract Refract Surg 1994; 20:554; the mass's
speed is the phantom's own). The ruler (`tests.echoes`) finds the echoes by peak search, as a person would set calipers
and draw the border of the mass; the exam folder with picture, points and media is then read, measured and corrected.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fixtures.make.eye import MASS, Dome, oblique_globe, oblique_scene
from fixtures.make.geometry import Circle, Fan, Reflector, Scene, shown_point_mm
from fixtures.make.render import Frame, picture, scan
from gateway.acoustics.measure import measure
from gateway.intake.exam_folder import read_exam_folder
from gateway.model.measurement import MeasuredValue
from tests import echoes

WITHIN = 0.005
HEIGHT_MM, BASE_MM = 6.0, 12.0
MASS_M_PER_S = 1640.0
SPEEDS = (1480.0, 1532.0, 1550.0, 1620.0)
PIVOTS_MM = (4.0, 8.0, 15.0)
FRAME = Frame(columns=640, rows=480)
SCALE = (FRAME.mm_per_pixel, FRAME.mm_per_pixel)


def phantom() -> Scene:
    """The mass with a speed of its own, far from the vitreous's, and a small bright reflector at each margin."""
    scene = oblique_scene(Dome(HEIGHT_MM, BASE_MM))
    media = list(scene.media)
    media[MASS] = replace(media[MASS], speed_m_per_s=MASS_M_PER_S, echo_db=-45.0)
    targets = tuple(
        Reflector(Circle(x, z + 50.0, 50.0), 0.0, 0.0, lambda at, _z, middle=x: abs(at - middle) < 0.25)
        for x, z in Dome(HEIGHT_MM, BASE_MM).margins(oblique_globe())
    )
    return replace(scene, media=tuple(media), reflectors=(*scene.reflectors, *targets))


@cache
def drawn(assumed: float, pivot_mm: float) -> tuple[np.ndarray, Fan]:
    fan = Fan(pivot_mm, 64.0, assumed)
    rng = np.random.default_rng([20260302, int(assumed), int(pivot_mm)])
    return picture(scan(phantom(), fan, rng, FRAME.shown_depth_mm), fan, FRAME, rng), fan


def shown_px(fan: Fan, *true_mm: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """Where a person would look for these points."""
    return tuple(FRAME.pixel(shown_point_mm(phantom(), fan, point)) for point in true_mm)


def along_beam_px(still: np.ndarray, fan: Fan, true_mm: tuple[float, float]) -> tuple[float, float]:
    """Find the echo of one true point on its own beam."""
    (expected,) = shown_px(fan, true_mm)
    pivot = np.array([FRAME.face_px - fan.pivot_to_face_mm / SCALE[0], FRAME.rows / 2])
    beam = (np.array(expected) - pivot) / np.linalg.norm(np.array(expected) - pivot)
    line = tuple(tuple(np.array(expected) + away * beam / SCALE[0]) for away in (-1.0, 1.0))
    found = echoes.echo_depths_mm(still, SCALE, line, band_mm=0.2, prominence=12.0)
    nearest = found[np.argmin(np.abs(found - 1.0))]
    x, y = np.array(line[0]) + nearest * beam / SCALE[0]
    return float(x), float(y)


def border_px(still: np.ndarray, fan: Fan) -> list[tuple[float, float]]:
    """Follow the surface of the mass as somebody would draw it: the middle by its echo, every 2 degrees."""
    seen = echoes.Fan((FRAME.face_px - fan.pivot_to_face_mm / SCALE[0], FRAME.rows / 2), fan.pivot_to_face_mm)
    surface = echoes.surface_mm(still, SCALE, seen, np.arange(-6.0, 6.1, 2.0), from_depth_mm=8.0)
    radius_px = (surface[:, 1] + fan.pivot_to_face_mm) / SCALE[0]
    x, y = seen.pivot[0] + radius_px * np.cos(surface[:, 0]), seen.pivot[1] + radius_px * np.sin(surface[:, 0])
    return [(float(a), float(b)) for a, b in zip(x, y, strict=True)]


def measured_exam(folder: Path, assumed: float, pivot_mm: float) -> dict[str, MeasuredValue]:
    """Write the exam folder as a site would, and let the gateway read and measure it."""
    still, fan = drawn(assumed, pivot_mm)
    globe = oblique_globe()
    wall = globe.point_at(0.0)
    apex = (wall[0], wall[1] - HEIGHT_MM)
    margins = Dome(HEIGHT_MM, BASE_MM).margins(globe)
    capture = {
        "id": "od-t9",
        "kind": "still",
        "file": "od-t9.png",
        "eye": "right",
        "scan": "transverse",
        "clock_hour": 9,
        "calibration": {
            "mm_per_pixel": {"x": SCALE[0], "y": SCALE[1]},
            "depth_axis": "left-to-right",
            "pixel_convention": "corner",
            "assumed_speed_m_per_s": assumed,
            "geometry": "sector",
            "sector": {
                "pivot": [FRAME.face_px - pivot_mm / SCALE[0], FRAME.rows / 2],
                "pivot_to_face_mm": pivot_mm,
                "opening_angle_deg": fan.opening_angle_deg,
            },
        },
    }
    found = {name: along_beam_px(still, fan, at) for name, at in (("apex", apex), ("wall", wall))}
    ends = [along_beam_px(still, fan, margin) for margin in margins]
    media = [{"tissue": "vitreous"}, {"from": border_px(still, fan), "speed_m_per_s": MASS_M_PER_S}]
    measurements = [
        {"id": "height", "kind": "height", "points": [found["apex"], found["wall"]], "media": media},
        {"id": "base", "kind": "base", "points": ends, "tissue": "vitreous"},
        {"id": "one-speed", "kind": "height", "points": [found["apex"], found["wall"]], "tissue": "vitreous"},
        {"id": "ratio", "kind": "ratio", "of": ["height", "base"]},
        {
            "id": "volume",
            "kind": "half-ellipsoid-volume",
            "of": ["base", "height"],
            "third_dimension": "like-the-first",
        },
        {
            "id": "arc",
            "kind": "arc-base",
            "points": ends,
            "tissue": "vitreous",
            "sphere_diameter_mm": 2 * globe.radius,
        },
    ]
    document = {
        "format": "eye-ultrasound-exam/1",
        "synthetic": "yes",
        "patient": {"id": "INV-1", "issuer": "INVENTED", "name": "Holm^Maija"},
        "session": {"start": "2026-03-02T09:30:00+01:00"},
        "captures": [capture],
        "measurements": [{"capture": "od-t9", **one} for one in measurements],
    }
    folder.mkdir()
    (folder / "exam.json").write_text(json.dumps(document), encoding="utf-8")
    Image.fromarray(still).save(folder / "od-t9.png")
    read = read_exam_folder(folder)
    result = measure(read.exam)
    assert [str(part.reason) for part in (*read.held, *result.held)] == []
    return {value.measurement.id: value for value in result.values}


def best(value: MeasuredValue) -> float:
    return (value.corrected.quantity if value.corrected else value.value).value


@pytest.mark.parametrize("pivot_mm", PIVOTS_MM)
@pytest.mark.parametrize("assumed", SPEEDS)
def test_what_was_drawn_is_measured_within_half_a_percent(tmp_path: Path, assumed: float, pivot_mm: float) -> None:
    values = measured_exam(tmp_path / "exam", assumed, pivot_mm)

    assert best(values["height"]) == pytest.approx(HEIGHT_MM, rel=WITHIN)
    assert best(values["base"]) == pytest.approx(BASE_MM, rel=WITHIN)
    radius = oblique_globe().radius
    # On the curve the chord's half percent grows by the slope of the arc: 1 / sqrt(1 - (c/2R)^2).
    slope = BASE_MM / math.sqrt(1 - (BASE_MM / 2 / radius) ** 2) / (2 * radius * math.asin(BASE_MM / 2 / radius))
    assert best(values["arc"]) == pytest.approx(2 * radius * math.asin(BASE_MM / 2 / radius), rel=WITHIN * slope)
    # Three lengths, two lengths: their shares add.
    assert best(values["volume"]) == pytest.approx(math.pi / 6 * BASE_MM**2 * HEIGHT_MM, rel=3 * WITHIN)
    assert best(values["ratio"]) == pytest.approx(HEIGHT_MM / BASE_MM, rel=2 * WITHIN)


def test_one_speed_for_the_whole_line_would_miss_the_mass(tmp_path: Path) -> None:
    """The test above can fail: with the vitreous's speed for all of it, the height is 6.6 % too small."""
    values = measured_exam(tmp_path / "exam", 1550.0, 8.0)

    assert best(values["one-speed"]) == pytest.approx(HEIGHT_MM * 1532 / MASS_M_PER_S, rel=WITHIN)
    assert abs(best(values["one-speed"]) / HEIGHT_MM - 1) > 10 * WITHIN
