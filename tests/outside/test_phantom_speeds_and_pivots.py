"""A phantom drawn at four assumed speeds and three pivots, measured end to end against what it was drawn with.

A dome-shaped mass of 1640 m/s behind vitreous of 1532 m/s (Hoffer, J Cataract Refract Surg 1994; 20:554; the mass's
speed is the phantom's own). The ruler (`tests.echoes`, scipy alone) finds the echoes of apex and wall by peak search,
as a person would set calipers; the margins are set where they are drawn, to the nearest quarter of a pixel. The exam
folder is then read, measured and corrected by the gateway, each medium along the beams by its own speed.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from PIL import Image

from fixtures.make.eye import GEL_MM, MASS, Dome, oblique_globe, oblique_scene
from fixtures.make.geometry import Fan, Scene, distance_mm, shown_point_mm
from fixtures.make.render import Frame, picture, scan
from gateway.acoustics.measure import measure
from gateway.intake.exam_folder import read_exam_folder
from tests import echoes

WITHIN = 0.005
SPEEDS = [1480.0, 1532.0, 1550.0, 1620.0]
PIVOTS = [4.0, 8.0, 15.0]
DOME = Dome(6.0, 12.0)
MASS_M_PER_S = 1640.0
FRAME = Frame(columns=700, rows=640)


@cache
def scene() -> Scene:
    drawn = oblique_scene(dome=DOME)
    media = list(drawn.media)
    media[MASS] = replace(media[MASS], speed_m_per_s=MASS_M_PER_S)
    return replace(drawn, media=tuple(media))


def shown_px(fan, *points):
    return [FRAME.pixel(shown_point_mm(scene(), fan, point)) for point in points]


def landmarks():
    globe = oblique_globe()
    wall = globe.point_at(0.0)
    return {"apex": (0.0, wall[1] - DOME.height_mm), "wall": wall, "margins": DOME.margins(globe)}


def dome_surface(count=61):
    """Points of the dome's surface from margin to margin, true x, z."""
    circle = DOME.surface(oblique_globe())
    (left, z), (right, _) = DOME.margins(oblique_globe())
    first, last = (np.degrees(np.arctan2(x - circle.x, circle.z - z)) for x in (left, right))
    angles = np.radians(np.linspace(first, last, count))
    return [(circle.x + circle.radius * np.sin(a), circle.z - circle.radius * np.cos(a)) for a in angles]


def near_wall(count=41):
    """Where beams leave the near wall for the vitreous: the globe's front, true x, z."""
    globe = oblique_globe()
    angles = np.radians(np.linspace(-45, 45, count))
    return [(globe.x + globe.radius * np.sin(a), globe.z - globe.radius * np.cos(a)) for a in angles]


def exam(folder, fan):
    """Draw the phantom, set calipers on it, and write the exam folder."""
    rng = np.random.default_rng([20261125, int(fan.assumed_speed_m_per_s), int(fan.pivot_to_face_mm)])
    drawn = picture(scan(scene(), fan, rng, FRAME.shown_depth_mm), fan, FRAME, rng)
    folder.mkdir()
    Image.fromarray(drawn).save(folder / "eye.png")
    scale = (FRAME.mm_per_pixel,) * 2
    found = landmarks()
    guess = tuple(shown_px(fan, found["apex"], found["wall"]))
    height = echoes.echo_ends_mm(drawn, scale, guess, search_mm=0.5) / FRAME.mm_per_pixel
    margins = np.round(np.array(shown_px(fan, *found["margins"])) * 4) / 4
    media = [
        {"speed_m_per_s": 1532},
        {"speed_m_per_s": 1550, "from": [list(p) for p in shown_px(fan, (-8.0, GEL_MM), (0.0, GEL_MM), (8.0, GEL_MM))]},
        {"speed_m_per_s": 1532, "from": [list(p) for p in shown_px(fan, *near_wall())]},
        {"speed_m_per_s": MASS_M_PER_S, "from": [list(p) for p in shown_px(fan, *dome_surface())]},
    ]
    measurements = [
        {"id": name, "capture": "c", "kind": "distance", "points": np.asarray(points).tolist(), "media": media}
        for name, points in (("height", height), ("base", margins))
    ]
    calibration = {
        "mm_per_pixel": {"x": FRAME.mm_per_pixel, "y": FRAME.mm_per_pixel},
        "depth_axis": "left-to-right",
        "assumed_speed_m_per_s": fan.assumed_speed_m_per_s,
        "sector": {
            "pivot": [FRAME.face_px - fan.pivot_to_face_mm / FRAME.mm_per_pixel, FRAME.rows / 2],
            "pivot_to_face_mm": fan.pivot_to_face_mm,
        },
    }
    capture = {"id": "c", "kind": "still", "file": "eye.png", "eye": "right", "scan": "longitudinal", "clock_hour": 9}
    document = {
        "format": "eye-ultrasound-exam/1",
        "synthetic": "yes",
        "patient": {"id": "INV-1", "issuer": "INVENTED", "name": "Holm^Maija"},
        "session": {"start": "2026-03-02T09:30:00+01:00"},
        "captures": [{**capture, "calibration": calibration}],
        "measurements": measurements,
    }
    (folder / "exam.json").write_text(json.dumps(document), encoding="utf-8")
    return folder


def corrected_mm(folder):
    read = read_exam_folder(folder)
    assert read.held == ()
    return {v.measurement.id: v.corrected.quantity.value for v in measure(read.exam).values if v.corrected}


@pytest.mark.parametrize("pivot_mm", PIVOTS)
@pytest.mark.parametrize("assumed", SPEEDS)
def test_a_phantom_is_measured_as_it_was_drawn(tmp_path, assumed, pivot_mm):
    fan = Fan(pivot_to_face_mm=pivot_mm, opening_angle_deg=60.0, assumed_speed_m_per_s=assumed)

    measured = corrected_mm(exam(tmp_path / "exam", fan))

    assert measured["height"] == pytest.approx(DOME.height_mm, rel=WITHIN)
    assert measured["base"] == pytest.approx(DOME.base_mm, rel=WITHIN)


def test_what_is_shown_is_off_by_more_than_the_bar_so_that_correcting_matters():
    shown = {}
    for assumed in SPEEDS:
        fan = Fan(pivot_to_face_mm=8.0, assumed_speed_m_per_s=assumed)
        apex, wall = (shown_point_mm(scene(), fan, point) for point in (landmarks()["apex"], landmarks()["wall"]))
        shown[assumed] = distance_mm(apex, wall)
    assert all(abs(value / DOME.height_mm - 1) > WITHIN for value in shown.values())
