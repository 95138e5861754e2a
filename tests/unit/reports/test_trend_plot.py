"""The drawing of readings over time: every reading, its bar, its date, in one well-formed file."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from gateway.acoustics.comparison import compare
from gateway.mapping.repeatability import load_repeatability
from gateway.model.comparison import Comparison
from gateway.reports.trend_plot import render_trend_plot
from tests.unit.acoustics.test_comparison import a_group, a_number, a_report

SVG = "{http://www.w3.org/2000/svg}"
COURSE = ((0, 1.4), (8, 1.9), (16, 2.3))


def comparison(course: tuple[tuple[int, float], ...] = COURSE, **stated: object) -> Comparison:
    reports = [a_report(month, a_group(a_number(value, **stated), **stated_group(stated))) for month, value in course]
    return compare(reports, load_repeatability())


def stated_group(stated: dict[str, object]) -> dict[str, object]:
    return {"structure": stated["structure"]} if "structure" in stated else {}


def drawn(found: Comparison) -> ET.Element:
    return ET.fromstring(render_trend_plot(found))  # noqa: S314 - our own file


def texts(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def test_each_reading_stands_with_value_and_date() -> None:
    root = drawn(comparison())
    assert {"1.4", "1.9", "2.3", "2024-11-02", "2025-07-02", "2026-03-02", "mm"} <= set(texts(root))
    assert len(list(root.iter(f"{SVG}circle"))) == 3


def test_bars_are_as_long_as_the_band_on_the_axis() -> None:
    root = drawn(comparison())
    first = next(iter(root.iter(f"{SVG}path"))).get("d") or ""
    top = float(first.split()[1].split("h")[0])
    bottom = float(first.split("V")[1].split("m")[0])
    ticks = {t.text: float(t.get("y") or 0) for t in root.iter(f"{SVG}text") if t.text in {"1.0", "2.0"}}
    per_mm = ticks["1.0"] - ticks["2.0"]
    assert (bottom - top) / per_mm == pytest.approx(2 * 0.499, abs=2e-3)


def test_the_line_runs_through_the_mean_of_the_readings() -> None:
    root = drawn(comparison(((0, 1.0), (8, 2.0), (16, 3.0))))
    dashed = next(line for line in root.iter(f"{SVG}line") if line.get("stroke-dasharray"))
    circles = [float(circle.get("cy") or 0) for circle in root.iter(f"{SVG}circle")]
    assert [float(dashed.get(name) or 0) for name in ("y1", "y2")] == pytest.approx([circles[0], circles[2]], abs=0.5)


def test_two_visits_have_no_line_and_say_why_there_are_no_bars() -> None:
    root = drawn(comparison(((0, 1.4), (8, 1.9)), structure="retina"))
    assert not [line for line in root.iter(f"{SVG}line") if line.get("stroke-dasharray")]
    assert not list(root.iter(f"{SVG}path"))
    assert "no bars: no repeatability band known" in texts(root)


@pytest.mark.parametrize("values", [(5.0, 5.0), (0.0, 0.0), (-1.0, 1e12), (1e-9, 2e-9)])
def test_any_numbers_find_room_on_the_axis(values: tuple[float, float]) -> None:
    root = drawn(comparison(((0, values[0]), (8, values[1])), structure="retina"))
    height = float(root.get("height") or 0)
    assert all(0 < float(circle.get("cy") or 0) < height for circle in root.iter(f"{SVG}circle"))


def test_crowded_dates_do_not_overlap() -> None:
    root = drawn(comparison(tuple((month, 1.0 + month / 20) for month in range(24))))
    dates = [float(t.get("x") or 0) for t in root.iter(f"{SVG}text") if (t.text or "").startswith("20")]
    assert min(later - earlier for earlier, later in pairwise(dates)) >= 70
    assert len(list(root.iter(f"{SVG}circle"))) == 24


def test_nothing_to_draw_is_said_in_words() -> None:
    found = compare([a_report(0, a_group()), a_report(8, a_group(tracking_uid="1.1", zone=None, clock_hour=None))])
    assert found.series, "a proposed link is drawn too"
    apart = compare([a_report(0, a_group()), a_report(8)])
    assert any("No quantity" in text for text in texts(drawn(apart)))


def test_words_of_others_cannot_break_the_drawing() -> None:
    group = a_group(finding="<script>&\u202e\x00")
    root = drawn(compare([a_report(0, group), a_report(8, group)]))
    assert not list(root.iter(f"{SVG}script"))


def test_readings_that_are_all_the_same_stand_in_the_middle_of_a_scale_with_several_marks() -> None:
    root = drawn(comparison(((0, 7.5), (8, 7.5), (16, 7.5)), structure="retina"))
    heights = {float(circle.get("cy") or 0) for circle in root.iter(f"{SVG}circle")}
    marks = [float(t.get("y") or 0) for t in root.iter(f"{SVG}text") if (t.text or "").replace(".", "").isdigit()]
    (height,) = heights
    assert min(marks) + 20 < height < max(marks) - 20
    assert len({round(mark) for mark in marks}) >= 4
