"""Measure on the demo exam's media with scipy alone and compare with what is true of the phantom.

The ruler (`tests.echoes`) finds echoes by peak search; nothing of the gateway takes part. Truth: `truth.json`, which
follows from the phantom's construction. What a device shows differs from it where the sound was not at the device's
speed; echoes moved along their beams to the right speed must then agree with the truth itself.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image
from ruamel.yaml import YAML

from tests import echoes

EXAM = Path(__file__).parents[2] / "fixtures" / "demo-exam"
WITHIN = 0.01


@cache
def document():
    return YAML(typ="safe").load((EXAM / "exam.yaml").read_text(encoding="utf-8"))


@cache
def truth():
    return json.loads((EXAM / "truth.json").read_text(encoding="utf-8"))["measurements"]


def capture_of(measurement):
    return next(capture for capture in document()["captures"] if capture["id"] == measurement["capture"])


@cache
def still(file):
    return np.asarray(Image.open(EXAM / file))


@cache
def loop_frame(file, number):
    with av.open(str(EXAM / file)) as container:
        frames = list(container.decode(video=0))
    luma = frames[number - 1].to_ndarray()[: frames[0].height]
    return np.clip((luma.astype(float) - 16) * 255 / 219, 0, 255).astype(np.uint8)


def picture_of(measurement):
    capture = capture_of(measurement)
    if capture["kind"] == "loop":
        return loop_frame(capture["file"], measurement["frame"])
    return still(capture["file"])


def scale_of(measurement):
    scale = capture_of(measurement)["calibration"]["mm_per_pixel"]
    return scale["x"], scale["y"]


def corner(point):
    """Return a point of the document, which counts from pixel centres, in corner convention."""
    return point[0] + 0.5, point[1] + 0.5


def fan_of(measurement):
    sector = capture_of(measurement)["calibration"]["sector"]
    return echoes.Fan(corner(sector["pivot"]), sector["pivot_to_face_mm"])


def with_calipers():
    return [m for m in document()["measurements"] if "points" in m]


def found_ends_mm(measurement):
    line = tuple(corner(point) for point in measurement["points"])
    return echoes.echo_ends_mm(picture_of(measurement), scale_of(measurement), line)


@pytest.mark.parametrize("measurement", with_calipers(), ids=lambda m: m["id"])
def test_echoes_lie_where_the_device_would_show_them(measurement):
    first, last = found_ends_mm(measurement)

    assert np.linalg.norm(last - first) == pytest.approx(truth()[measurement["id"]]["shown_mm"], rel=0.004)


@pytest.mark.parametrize("measurement", with_calipers(), ids=lambda m: m["id"])
def test_displayed_value_agrees_with_the_echoes(measurement):
    first, last = found_ends_mm(measurement)

    assert measurement["displayed"]["value"] == pytest.approx(np.linalg.norm(last - first), rel=WITHIN)


@pytest.mark.parametrize(
    "name",
    [
        "od-mass-height",
        "od-mass-height-loop",
        "od-mass-base-longitudinal",
        "od-mass-base-transverse",
        "od-axial-length",
    ],
)
def test_shown_length_is_the_true_one_within_one_percent(name):
    measurement = next(m for m in with_calipers() if m["id"] == name)

    first, last = found_ends_mm(measurement)

    assert np.linalg.norm(last - first) == pytest.approx(truth()[name]["true_mm"], rel=WITHIN)


# Vitreous 1532 m/s and whole phakic eye 1555 m/s: Hoffer, J Cataract Refract Surg 1994; 20:554. Tumour: the phantom's
# own 1550 m/s.
@pytest.mark.parametrize("measurement", with_calipers(), ids=lambda m: m["id"])
def test_echoes_moved_along_their_beams_give_the_true_length(measurement):
    speed = {"vitreous": 1532, "tumour": 1550, "phakic-eye": 1555}[measurement["tissue"]]
    ratio = speed / capture_of(measurement)["calibration"]["assumed_speed_m_per_s"]

    ends = echoes.along_beams_mm(found_ends_mm(measurement), scale_of(measurement), fan_of(measurement), ratio)

    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(truth()[measurement["id"]]["true_mm"], rel=0.004)


def test_wall_is_a_circle_of_eleven_millimetres_only_when_each_echo_moves_along_its_beam():
    measurement = next(m for m in with_calipers() if m["id"] == "od-mass-base-transverse")
    fan = fan_of(measurement)
    angles_deg = np.concatenate([np.arange(-17.0, -11.0, 0.4), np.arange(11.0, 17.0, 0.4)])
    surface = echoes.surface_mm(picture_of(measurement), scale_of(measurement), fan, angles_deg)

    _, _, shown = echoes.circle_through(echoes.points_mm(surface, fan))
    _, _, moved = echoes.circle_through(echoes.points_mm(surface, fan, 1532 / 1550))

    assert moved == pytest.approx(11.0, rel=0.005)
    assert abs(moved - 11.0) < abs(shown - 11.0)


def test_mass_and_wall_keep_still_while_the_vitreous_moves():
    # Kinetic examination: after-movement of what floats, none of what is solid (common practice).
    measurement = next(m for m in with_calipers() if m["id"] == "od-mass-height-loop")
    file = capture_of(measurement)["file"]
    line = tuple(corner(point) for point in measurement["points"])

    heights = [echoes.distance_mm(loop_frame(file, n), scale_of(measurement), line) for n in (3, 20, 38)]
    early, late = (loop_frame(file, n)[150:330, 120:280].astype(float) for n in (3, 9))

    assert heights == pytest.approx([6.0] * 3, rel=WITHIN)
    assert np.abs(early - late).mean() > 4
