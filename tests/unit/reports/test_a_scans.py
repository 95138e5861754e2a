"""A-scans in the report: drawn whole, labelled on both axes, said in words for readers who do not see them."""

from __future__ import annotations

import dataclasses
import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
from defusedxml import ElementTree

from gateway.acoustics.a_scan import AScan, Sampling, from_samples
from gateway.acoustics.curves import Curve, curves_of
from gateway.model.a_scan import AScanLine, Reflectivity, ReflectivityClass, StructureEcho
from gateway.model.calibration import Point
from gateway.model.exam import MeasuredExam
from gateway.model.laterality import Eye
from gateway.model.measurement import TissueSpeed
from gateway.reports.a_scan_plot import a_scan_svg
from gateway.reports.a_scans import PicturedCurve
from gateway.reports.content import AScanCard
from gateway.reports.html import render_html
from gateway.reports.model import Report, picture_of, report_model
from gateway.reports.pdf import render_pdf
from tests.programs import require
from tests.unit.reports.conftest import DrawnFrames

SVG = "{http://www.w3.org/2000/svg}"
VITREOUS = TissueSpeed(1532, "vitreous", "a table of an invented site")


def report_with(measured: MeasuredExam, *curves: PicturedCurve) -> Report:
    return report_model(measured, {}, {}, curves=curves)


def card_of(measured: MeasuredExam, *curves: PicturedCurve) -> AScanCard:
    (card,) = (card for eye in report_with(measured, *curves).eyes for card in eye.a_scans)
    return card


def along_axis(measured: MeasuredExam, **stated: object) -> PicturedCurve:
    """Through the drawn wall, whose middle lies 90 pixels right of column 100."""
    line = AScanLine("axis", Point(8, 120.5), Point(300, 120.5), **stated)  # type: ignore[arg-type]
    capture = dataclasses.replace(measured.exam.capture("od-axh"), a_scan_lines=(line,))
    source = DrawnFrames()
    (curve,), held = curves_of(capture, source)
    assert held == ()
    return PicturedCurve(curve, picture_of(source, capture))


def of_samples(amplitude: np.ndarray, **stated: object) -> PicturedCurve:  # type: ignore[type-arg]
    return PicturedCurve(Curve("od-axh", "samples", from_samples(amplitude, Sampling(0.01, **stated), 1532), VITREOUS))  # type: ignore[arg-type]


def test_a_plot_has_both_axes_labelled_and_stays_inside_its_frame(measured: MeasuredExam) -> None:
    drawing = ElementTree.fromstring(a_scan_svg(card_of(measured, along_axis(measured))))
    words = {text.text for text in drawing.iter(f"{SVG}text")}
    assert {"depth in mm at 1550 m/s", "round-trip time in µs", "grey level"} <= words
    (curve,) = drawing.iter(f"{SVG}polyline")
    points = [tuple(map(float, pair.split(","))) for pair in curve.attrib["points"].split()]
    _, _, width, height = map(float, drawing.attrib["viewBox"].split())
    assert all(0 <= x <= width and 0 <= y <= height for x, y in points)
    assert [x for x, _ in points] == sorted(x for x, _ in points)


def test_the_wall_is_offered_where_it_was_drawn(measured: MeasuredExam) -> None:
    """Column 190 is the wall's middle: (190.5 - 8) x 0.125 mm from the first point."""
    card = card_of(measured, along_axis(measured))
    (wall,) = [peak for peak in card.peaks if float(peak.prominence) > 150]
    assert wall.depth_mm == pytest.approx((190.5 - 8) * 0.125, abs=0.08)
    assert wall.time == f"{2000 * wall.depth_mm / 1550:.2f} µs"
    assert wall.words in card.alternative_text


def test_the_caption_says_capture_eye_line_speed_and_source(measured: MeasuredExam) -> None:
    card = card_of(measured, along_axis(measured, speed=VITREOUS, band_mm=0.5))
    assert card.title == "A-scan, line axis on picture 5"
    for words in (
        "od-axh", "Right eye (OD)", "1532 m/s, vitreous (a table of an invented site)", "averaged over 0.5 mm across",
        "Read from the stored picture", "grey level, not reflectivity", "mm below the probe face",
    ):  # fmt: skip
        assert words in card.caption
    assert card.line == (Point(8, 120.5), Point(300, 120.5))
    assert card.picture is not None


def test_a_curve_of_many_samples_is_drawn_with_every_peak_and_few_points(measured: MeasuredExam) -> None:
    amplitude = np.zeros(80_000)
    amplitude[[123, 40_001, 79_000]] = (50.0, 90.0, 70.0)
    plot = card_of(measured, of_samples(amplitude)).plot
    assert len(plot.depth_mm) < 2000
    assert sorted(set(plot.amplitude)) == [0.0, 50.0, 70.0, 90.0]
    assert plot.depth_mm[-1] == pytest.approx(79_999 * 0.01 * 1532 / 2000)


@pytest.mark.parametrize(("start_mm", "said"), [(None, "from the first sample."), (3.0, "sample, 3.00 mm below")])
def test_samples_say_where_they_begin_only_where_that_is_stated(
    measured: MeasuredExam, start_mm: float | None, said: str
) -> None:
    assert said in card_of(measured, of_samples(np.array([0.0, 1, 0, 0]), start_mm=start_mm)).caption


def test_an_even_or_negative_curve_is_drawn_too(measured: MeasuredExam) -> None:
    for amplitude in (np.zeros(5), np.full(5, -3.0), np.array([-5.0, 5, -5])):
        ElementTree.fromstring(a_scan_svg(card_of(measured, of_samples(amplitude))))


def test_numbers_of_near_peaks_do_not_lie_on_one_another(measured: MeasuredExam) -> None:
    amplitude = np.zeros(2000)
    amplitude[100:130:10] = 50
    drawing = ElementTree.fromstring(a_scan_svg(card_of(measured, of_samples(amplitude))))
    places = [
        (float(text.attrib["x"]), float(text.attrib["y"]))
        for group in drawing.iter(f"{SVG}g")
        if group.attrib.get("font-weight") == "bold"
        for text in group
    ]
    assert len(places) == 3
    assert len({y for _, y in places}) == 3


def test_each_eye_has_its_own_a_scans(measured: MeasuredExam) -> None:
    report = report_with(measured, along_axis(measured))
    assert (len(report.right.a_scans), len(report.left.a_scans)) == (1, 0)
    assert "none is chosen" in report.a_scan_note
    assert report_with(measured).a_scan_note == ""


def echoes() -> tuple[StructureEcho, ...]:
    scheme = "an invented scheme"
    found = Reflectivity(42.5, 72.0, ReflectivityClass.MEDIUM, scheme, "42.50")
    return (
        StructureEcho("od-axh", "choroid", 72.0, found),
        StructureEcho("os-axv", "retina", 70.0, None, 13.9, "sclera", 57.9, 44.0),
    )


def test_reflectivity_stands_with_its_digits_class_scheme_and_sensitivity(measured: MeasuredExam) -> None:
    report = report_with(dataclasses.replace(measured, echoes=echoes()))
    (right,), (left,) = report.right.echoes, report.left.echoes
    assert (right.value, right.in_class, right.sensitivity) == ("42.50 % of the initial spike", "medium", "72 dB")
    assert "13.9 dB weaker than sclera" in left.value
    assert left.in_class == ""
    assert report.echo_notes == ("Classes of reflectivity: an invented scheme.",)


def test_page_and_print_show_the_plot_with_its_words(measured: MeasuredExam, tmp_path: Path) -> None:
    measured = dataclasses.replace(measured, echoes=echoes())
    report = report_with(measured, along_axis(measured), of_samples(np.array([0.0, 9, 0, 0, 5, 0])))
    page = render_html(report)
    assert page.count('class="a-scan"') == 2
    assert len(re.findall('<svg[^>]*aria-label="Plot of', page)) == 2
    (tmp_path / "r.pdf").write_bytes(render_pdf(report))
    said = subprocess.run([require("pdftotext"), tmp_path / "r.pdf", "-"], capture_output=True, text=True, check=True)
    flat = re.sub(r"\s+", " ", said.stdout)
    for words in ("A-scan, line axis on picture 5", "sample value, not reflectivity", "42.50 % of the initial spike"):
        assert words in flat
    structure = subprocess.run(
        [require("pdfinfo"), "-struct-text", tmp_path / "r.pdf"], capture_output=True, text=True, check=True
    )
    assert structure.stdout.count("Figure") >= 5  # two charts, picture, two plots


def test_a_line_across_the_beams_has_no_time_axis(measured: MeasuredExam) -> None:
    scan = AScan(np.array([0.0, 5, 0]), np.array([0.0, 1, 2]), None, None, "grey level, not reflectivity")
    card = card_of(
        measured, PicturedCurve(Curve("od-axh", "across", scan, None, AScanLine("across", Point(1, 1), Point(1, 9))))
    )
    assert card.plot.time_label == ""
    assert "no time is given" in card.caption
    assert "which is not stated" in card.caption
    assert "µs" not in a_scan_svg(card)
    assert card.title.startswith("A-scan, line across")


def test_eyes_are_named_in_full_in_every_alternative_text(measured: MeasuredExam) -> None:
    card = card_of(measured, along_axis(measured))
    for words in (card.alternative_text, card.picture_text):
        assert "Right eye (OD)" in words
    assert measured.exam.capture("od-axh").eye is Eye.RIGHT
