"""Gates, formulas, implants, A-scan lines, strips and spikes in documents."""

from __future__ import annotations

import pytest

from gateway.errors import GatewayError
from gateway.model.a_scan import AScanLine, AScanSamples, AScanSettings, AScanStrip, EchoDifference, SpikeHeight
from gateway.model.biometry import Gate, Implant, LengthFormula, Material
from gateway.model.calibration import DepthAxis, PixelRegion, Point

CAPTURE = """\
format: eye-ultrasound-exam/1
patient: {{id: A, issuer: B, name: C^D}}
session: {{start: 2026-03-02T09:30:00+01:00}}
captures:
  - {{id: ax, kind: still, file: ax.png, eye: right, scan: axial-horizontal, lens: {lens}{calibration}}}
  - {{id: other, kind: still, file: other.png, eye: right, scan: axial-vertical}}
  - {{id: loop, kind: loop, file: loop.avi, eye: right, scan: axial-vertical{on_loop}}}
measurements:
{measurement}
"""
AT_1532 = (
    ", calibration: {mm_per_pixel: {x: 0.05, y: 0.05}, depth_axis: top-down, assumed_speed_m_per_s: 1532"
    ", region: {x0: 0, y0: 0, x1: 99, y1: 79}%s}%s"
)
GOOD = "{id: m, capture: ax, kind: axial-length, displayed: {value: 23.00, unit: mm}, formula: hoffer-1994-phakic}"


def document(measurement: str = GOOD, *, lens: str = "crystalline", strip: str = "", more: str = "", on_loop: str = ""):
    calibration = AT_1532 % (strip, more)
    return CAPTURE.format(lens=lens, calibration=calibration, measurement=f"  - {measurement}", on_loop=on_loop)


def codes_of(held) -> set[str]:
    (part,) = held
    problems = getattr(part.reason, "problems", [part.reason])
    assert all(isinstance(problem, GatewayError) and problem.where and problem.fix for problem in problems)
    return {problem.code for problem in problems}


def test_everything_reaches_the_model(read, everything):
    exam = read(everything).exam
    m4, m5 = (next(m for m in exam.measurements if m.id == name) for name in ("m4", "m5"))
    assert (m4.formula, m4.implant) == (LengthFormula.HOFFER_1994_PSEUDOPHAKIC, Implant(Material.PMMA, 0.7))
    assert m4.reading_m_per_s == 1532
    assert [gate.segment for gate in m5.gates] == ["anterior-chamber", "lens", "vitreous"]
    assert [gate.speed.speed_m_per_s for gate in m5.gates] == [1532, 1641, 1532]
    assert m5.gates[1] == Gate("lens", 4.6, 10.3, m5.gates[1].speed)
    assert (m5.gates[0].speed.tolerance_m_per_s, m5.gates[2].speed.tolerance_m_per_s) == (None, 5)
    assert (m4.gate_tolerance_us, m5.gate_tolerance_us) == (None, 0.02)
    assert "measurements[4].gates[1].speed_m_per_s" in m5.gates[1].speed.source
    capture = exam.captures[0]
    assert capture.calibration.a_scan_strip == AScanStrip(
        PixelRegion(0, 480, 639, 559), 0.0625, DepthAxis.LEFT_TO_RIGHT, -1.25, Point(12.5, 550.5)
    )
    spikes, differences = (SpikeHeight("choroid", 42.0, "42"),), (EchoDifference("retina", "sclera", 58.0, 44.0),)
    samples = capture.a_scan.samples
    assert capture.a_scan == AScanSettings(True, 72.0, spikes, differences, samples)
    assert samples == AScanSamples((0, 12, 255, 40), 0.02, samples.speed, 3)
    assert samples.speed.tissue == "tumour"
    by_rate = exam.capture("os-a").a_scan.samples
    assert (by_rate.interval_us, by_rate.speed.speed_m_per_s) == (0.02, 1532)
    axis, slant = capture.a_scan_lines
    # The capture counts from pixel centres: half a pixel is added.
    assert axis == AScanLine("axis", Point(16, 240), Point(560.5, 240), None, axis.speed, 0.5)
    assert (axis.speed.tissue, slant.speed.speed_m_per_s, slant.band_mm) == ("tumour", 1550, 0.0)


def test_a_line_on_a_loop_counts_frames_of_the_stored_loop(read):
    on_loop = (
        ", keep: {first: 3, last: 9}, calibration: {mm_per_pixel: {x: 0.05, y: 0.05}}"
        ", a_scan_lines: [{id: a, from: [1, 1], to: [1, 50], frame: 5}]"
    )
    exam = read(document(on_loop=on_loop)).exam
    assert exam.captures[2].a_scan_lines[0].frame == 3


@pytest.mark.parametrize(
    ("measurement", "code"),
    [
        ("{id: m, capture: ax, kind: depth, gates: [{segment: lens, start_us: 5, end_us: 4, speed_m_per_s: 1641}]}",
         "gate-order"),
        ("{id: m, capture: ax, kind: depth, gates: [{segment: lens, start_us: 1, end_us: 5, speed_m_per_s: 1641},"
         " {segment: vitreous, start_us: 4, end_us: 9, tissue: vitreous}]}", "gate-order"),
        ("{id: m, capture: ax, kind: depth, gates: [{segment: lens, start_us: 1, end_us: 4}]}", "field-missing"),
        ("{id: m, capture: ax, kind: depth, gates: [{segment: lens, start_us: 1, end_us: 4, tissue: lense}]}",
         "tissue-not-known"),
        ("{id: m, capture: ax, kind: depth, gates: [{segment: lens, start_us: 1, end_us: 4, tissue: lens,"
         " speed_m_per_s: 1641}]}", "contradicting-fields"),
        ("{id: m, capture: ax, kind: angle, gates: [{segment: lens, start_us: 1, end_us: 4, tissue: lens}]}",
         "field-not-applicable"),
        ("{id: m, capture: ax, kind: depth, tissue: lens, gates: [{segment: lens, start_us: 1, end_us: 4,"
         " tissue: lens}]}", "contradicting-fields"),
        (GOOD.replace("hoffer-1994-phakic", "hoffer-2003-phakic-implant"), "formula-not-applicable"),
        (GOOD.replace("hoffer-1994-phakic}", "hoffer-1994-aphakic}"), "formula-not-applicable"),
        (GOOD.replace("capture: ax", "capture: other"), "formula-not-applicable"),
        (GOOD.replace("}, formula", "}, reading_speed_m_per_s: 1555, formula"), "formula-not-applicable"),
        (GOOD.replace("axial-length", "depth"), "field-not-applicable"),
        (GOOD.replace("formula: hoffer-1994-phakic", "implant: {material: pmma}"), "field-not-applicable"),
        (GOOD.replace("displayed: {value: 23.00, unit: mm}",
                      "gates: [{segment: lens, start_us: 1, end_us: 4, tissue: lens}]"), "field-missing"),
        (GOOD.replace("formula", "tissue: vitreous, formula"), "contradicting-fields"),
        (GOOD.replace("formula", "gate_tolerance_us: 0.02, formula"), "tolerance-not-applicable"),
        (GOOD.replace("displayed", "points: [[9, 1], [9, 79]], reading_speed_m_per_s: 1555, displayed")
         .replace(", formula: hoffer-1994-phakic", ""), "contradicting-fields"),
    ],
)  # fmt: skip
def test_contradictions_hold_the_measurement(read, measurement, code):
    assert code in codes_of(read(document(measurement)).held)


LINE = ", a_scan_lines: [{id: a, from: [1, 1], to: [1, 50]%s}]"
SAMPLES = ", a_scan: {samples: {values: [0, 1, 0], %s}}"
SPIKES = ", a_scan: {standardized: yes, tissue_sensitivity_db: 72, spikes: [{structure: %s}]}"
STRIP = ", a_scan_strip: {region: {x0: 0, y0: %s, x1: 99, y1: 99}, mm_per_pixel: 0.05, depth_axis: left-to-right%s}"


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"more": LINE % ", frame: 2"}, "field-not-applicable"),
        ({"more": LINE % ", tissue: soup"}, "tissue-not-known"),
        ({"more": LINE % ", tissue: lens, speed_m_per_s: 1641"}, "contradicting-fields"),
        ({"more": ", a_scan_lines: [{id: a, from: [1, 1], to: [1, 1]}]"}, "point-outside-picture"),
        ({"more": ", a_scan_lines: [{id: a, from: [-1, 1], to: [1, 1]}]"}, "point-outside-picture"),
        ({"more": ", a_scan_lines: [{id: a, from: [1, 2], to: [1, 1]}, {id: a, from: [1, 2], to: [1, 3]}]"},
         "duplicate-id"),
        ({"strip": STRIP % (79, "")}, "strip-overlaps-picture"),
        ({"strip": STRIP % (100, "")}, "value-out-of-range"),
        ({"strip": STRIP % (80, ", percent_per_pixel: 0")}, "value-out-of-range"),
        ({"more": ", a_scan: {spikes: [{structure: retina, percent: 42}]}"}, "reflectivity-not-standardized"),
        ({"more": ", a_scan: {standardized: yes, spikes: [{structure: retina, percent: 42}]}"},
         "reflectivity-not-standardized"),
        ({"more": SPIKES % "retina, percent: 142"}, "measurement"),
        ({"more": SPIKES % "retina, percent: 42"}, "reflectivity-not-standardized"),
        ({"more": ", a_scan: {standardized: yes, differences: [{structure: retina, reference: sclera, gain_db: 58,"
         " reference_gain_db: 44}]}"}, "reflectivity-not-standardized"),
        ({"more": ", a_scan: {standardized: yes, tissue_sensitivity_db: 72, differences: [{structure: retina,"
         " reference: retina, gain_db: 58, reference_gain_db: 44}]}"}, "contradicting-fields"),
        ({"more": SAMPLES % "interval_us: 1, rate_mhz: 1, tissue: lens"}, "contradicting-fields"),
        ({"more": SAMPLES % "tissue: lens"}, "contradicting-fields"),
        ({"more": SAMPLES % "rate_mhz: 50"}, "field-missing"),
        ({"more": SAMPLES % "rate_mhz: 50, tissue: soup"}, "tissue-not-known"),
        ({"strip": STRIP % (80, ""), "more": LINE.replace("50", "85") % ""}, "line-not-measurable"),
        ({"on_loop": LINE % ""}, "field-missing"),
        ({"on_loop": LINE % ", frame: 2"}, "no-scale"),
        ({"on_loop": ", keep: {first: 3, last: 9}" + LINE % ", frame: 2"}, "frame-not-fitting"),
    ],
)  # fmt: skip
def test_contradictions_hold_the_capture(read, changes, code):
    held = read(document("{id: m, capture: other, kind: depth, displayed: {value: 3, unit: mm}}", **changes)).held
    assert code in codes_of(held)


def test_a_strip_beside_its_picture_is_good(read):
    assert read(document(strip=STRIP % (80, ""))).held == ()


def test_a_strip_that_is_the_whole_a_scan_needs_no_picture_beside_it(read):
    text = (
        document(strip=STRIP % (80, ""))
        .replace("axial-horizontal", "a-scan")
        .replace("region: {x0: 0, y0: 0,", "region: {x0: 1, y0: 0,", 1)
    )
    alone = text.replace(", region: {x0: 1, y0: 0, x1: 99, y1: 79}", "")
    assert alone != text
    exam, held = read(alone).exam, read(alone).held
    assert held == ()
    assert exam.captures[0].calibration.region is None


def test_calipers_on_the_strip_are_held_because_its_scale_is_another(read):
    on_strip = "{id: m, capture: ax, kind: depth, points: [[10, 10], [10, 85]]}"
    assert codes_of(read(document(on_strip, strip=STRIP % (80, ""))).held) == {"point-in-strip"}
    beside = on_strip.replace("85", "79")
    assert read(document(beside, strip=STRIP % (80, ""))).held == ()


def test_reflectivity_on_an_a_scan_is_good(read):
    text = document(more=SPIKES % "retina, percent: 42", measurement=GOOD.replace(", formula: hoffer-1994-phakic", ""))
    assert read(text.replace("axial-horizontal", "a-scan")).held == ()
