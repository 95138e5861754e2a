"""Comparing visits: like with like, against the repeatability band, findings joined by UID or proposed."""

from __future__ import annotations

import dataclasses
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from gateway.acoustics.comparison import compare
from gateway.acoustics.repeats import repeatability_95
from gateway.acoustics.trends import months_between, trend_of
from gateway.errors.measurement import DifferentPatientsError, NothingToCompareError
from gateway.mapping.repeatability import load_repeatability
from gateway.model.capture import Contact
from gateway.model.coded import CodedConcept
from gateway.model.comparison import Comparison, Difference, Link, Verdict
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasurementKind, Unit
from gateway.model.position import ClockHour, Zone
from gateway.model.prior import PriorGroup, PriorMeasurement, PriorReport
from gateway.model.repeatability import Operators, RepeatabilityFigure, Whose
from gateway.standard.codes import concept

UID = "2.25.7"
FIRST = datetime(2024, 11, 2, 9, 30)


def a_number(value: float = 1.4, **stated: object) -> PriorMeasurement:
    facts: dict[str, object] = {
        "name": concept("quantity", "height"),
        "unit": "mm",
        "text": f"{value:g}",
        "words": "height",
        "kind": MeasurementKind.HEIGHT,
        "structure": "choroid",
        "direction": "a-scan",
        "speed_m_per_s": 1550.0,
        "contact": Contact.THROUGH_LID,
    }
    return PriorMeasurement(value=value, **{**facts, **stated})  # type: ignore[arg-type]


def a_group(*numbers: PriorMeasurement, **stated: object) -> PriorGroup:
    facts: dict[str, object] = {
        "tracking_uid": UID,
        "finding": "mass",
        "eye": Eye.RIGHT,
        "structure": "choroid",
        "clock_hour": ClockHour(18),
        "zone": Zone.POSTERIOR_TO_EQUATOR,
    }
    return PriorGroup(measurements=numbers or (a_number(),), **{**facts, **stated})  # type: ignore[arg-type]


def a_report(month: int, *groups: PriorGroup, **stated: object) -> PriorReport:
    """A visit some months after the first."""
    year, index = divmod(FIRST.year * 12 + FIRST.month - 1 + month, 12)
    facts: dict[str, object] = {
        "study_uid": f"1.2.{month}",
        "when": FIRST.replace(year=year, month=index + 1),
        "patient_id": "INV-7",
        "patient_issuer": "INVENTED",
        "source": f"month {month}",
    }
    return PriorReport(groups=groups, **{**facts, **stated})  # type: ignore[arg-type]


def two(one: PriorMeasurement, other: PriorMeasurement) -> Comparison:
    return compare([a_report(0, a_group(one)), a_report(16, a_group(other))], load_repeatability())


def only(comparison: Comparison) -> Difference:
    (difference,) = comparison.differences
    return difference


# ------------------------------------------------------------------ figures from outside


def test_the_published_course_of_a_choroidal_lesion() -> None:
    """1.4 to 2.3 mm in 16 months: 0.057 mm a month (Graefes Arch Clin Exp Ophthalmol 2023;261:3635-41).

    The difference of 0.9 mm lies beyond the published band of 0.499 mm: 1.96 x sqrt(2) x 0.18 mm, standardized A-scan
    (Haritoglou C et al., Br J Ophthalmol 2002;86:1390-4).
    """
    found = only(two(a_number(1.4), a_number(2.3)))
    assert found.difference == pytest.approx(0.9)
    assert found.months == 16.0
    assert found.per_month == pytest.approx(0.0563, abs=6e-5)
    assert found.per_month * 12 == pytest.approx(0.675)
    assert found.band is not None
    assert found.band.half_width == pytest.approx(0.499, abs=5e-4)
    assert found.verdict is Verdict.BEYOND
    assert "published, not yours" in found.band.words
    assert "reproducibility" in found.band.words


@pytest.mark.parametrize(("direction", "half_width"), [("transverse", 2.19), ("longitudinal", 1.91)])
def test_the_published_bands_of_a_base(direction: str, half_width: float) -> None:
    """SD 0.79 mm across and 0.69 mm along (Haritoglou 2002, as above)."""
    stated = {"kind": MeasurementKind.BASE, "name": concept("quantity", "base"), "words": "base"}
    found = only(two(a_number(9.0, direction=direction, **stated), a_number(10.9, direction=direction, **stated)))
    assert found.band is not None
    assert found.band.half_width == pytest.approx(half_width, abs=5e-3)
    assert found.verdict is Verdict.WITHIN


def test_the_coverage_factor_is_that_of_the_normal_distribution() -> None:
    assert pytest.approx(stats.norm.ppf(0.975) * np.sqrt(2), abs=1e-4) == repeatability_95(1.0)


@given(st.lists(st.tuples(st.integers(0, 9000), st.floats(0.1, 30)), min_size=3, max_size=12, unique_by=lambda p: p[0]))
def test_the_slope_is_that_of_other_peoples_software(points: list[tuple[int, float]]) -> None:
    """numpy.polyfit and scipy.stats.linregress on the same months."""
    points = sorted(points)
    moments = [FIRST + timedelta(days=days) for days, _value in points]
    values = [value for _days, value in points]
    found = trend_of(moments, values, "mm")
    assert found is not None
    months = [months_between(moments[0], moment) for moment in moments]
    assert found.slope_per_month == pytest.approx(stats.linregress(months, values).slope, rel=1e-7, abs=1e-9)
    assert found.slope_per_month == pytest.approx(np.polyfit(months, values, 1)[0], rel=1e-6, abs=1e-9)
    assert found.span_months == months[-1]


@given(st.datetimes(datetime(1900, 1, 1), datetime(2100, 1, 1)), st.integers(0, 20000), st.integers(0, 86399))
def test_calendar_months_follow_the_days(start: datetime, days: int, seconds: int) -> None:
    later = start + timedelta(days=days, seconds=seconds)
    months = months_between(start, later)
    assert months == pytest.approx(days / 30.436875 + seconds / 86400 / 30.436875, abs=0.12)
    assert months_between(start, later + timedelta(days=1)) > months


@pytest.mark.parametrize(
    ("start", "end", "months"),
    [
        (datetime(2025, 1, 15), datetime(2025, 3, 15), 2.0),
        (datetime(2024, 1, 31), datetime(2024, 2, 29), 1.0),
        (datetime(2025, 12, 1), datetime(2026, 1, 16, 12), 1.5),
        (datetime(2026, 3, 2, 9), datetime(2026, 3, 2, 9), 0.0),
        (datetime(9999, 12, 1), datetime(9999, 12, 31), 30 / 31),
    ],
)
def test_calendar_months_counted_by_hand(start: datetime, end: datetime, months: float) -> None:
    assert months_between(start, end) == pytest.approx(months, abs=1e-3)


# ------------------------------------------------------------------ like with like


@pytest.mark.parametrize(
    ("here", "there", "reason"),
    [
        ({"speed_m_per_s": 1550.0}, {"speed_m_per_s": 1532.0}, "speeds of sound differ: 1550 m/s and 1532 m/s"),
        (
            {"contact": Contact.IMMERSION},
            {"contact": Contact.THROUGH_LID},
            "ways of contact differ: immersion and through-lid",
        ),
        ({"formula": "(pi/6) D2h"}, {"formula": "(pi/12) D2h"}, "formulas differ: (pi/6) d2h and (pi/12) d2h"),
        (
            {"method": CodedConcept("A", "99X", "Leading edge")},
            {"method": CodedConcept("B", "99X", "Peak")},
            "measurement methods differ: leading edge and peak",
        ),
        ({"unit": "mm"}, {"unit": "mm2"}, "units differ: mm and mm2"),
    ],
)
def test_what_was_measured_in_another_way_is_not_compared(
    here: dict[str, object], there: dict[str, object], reason: str
) -> None:
    found = only(two(a_number(**here), a_number(**there)))
    assert (found.difference, found.verdict, found.band) == (None, Verdict.NOT_COMPARABLE, None)
    assert found.reasons == (reason,)


def test_what_only_one_report_says_is_told_beside_the_difference() -> None:
    found = only(two(a_number(1.4, contact=None), a_number(2.3)))
    assert found.verdict is Verdict.BEYOND
    assert found.remarks == ("contact stated at the later visit only",)


def test_a_displayed_number_is_never_compared_with_a_corrected_one() -> None:
    comparison = two(a_number(1.4), a_number(1.41, is_corrected=True))
    assert comparison.differences == ()
    assert [note for note in comparison.notes if note.startswith("only at visit")] == [
        "only at visit 1: height of mass, right eye, choroid, 9 o'clock, posterior to equator",
        "only at visit 2: height, corrected of mass, right eye, choroid, 9 o'clock, posterior to equator",
    ]


def test_corrected_numbers_of_devices_with_different_speeds_are_comparable_at_the_same_corrected_speed() -> None:
    one = a_number(1.4, is_corrected=True, formula="depth axis scaled, depth x 1660/1550")
    other = a_number(1.5, is_corrected=True, formula="depth axis scaled, depth x 1660/1532")
    assert only(two(one, other)).difference == pytest.approx(0.1)


def test_numbers_corrected_in_several_media_are_comparable_at_the_same_speeds_alone() -> None:
    words = "depth x 1532/{0} in vitreous, then depth x {1}/{0} in tumour"
    stated = {"is_corrected": True, "speed_m_per_s": None}
    speeds = ((1550, 1600), (1555, 1600), (1550, 1580))
    one, same, other = (a_number(1.4, formula=words.format(*pair), **stated) for pair in speeds)
    assert only(two(one, same)).difference == pytest.approx(0)
    assert only(two(one, other)).verdict is Verdict.NOT_COMPARABLE


def test_a_base_across_is_not_compared_with_a_base_along() -> None:
    stated = {"kind": MeasurementKind.BASE, "name": concept("quantity", "base"), "words": "base"}
    comparison = two(a_number(direction="transverse", **stated), a_number(direction="longitudinal", **stated))
    assert comparison.differences == ()
    assert len(comparison.notes) == 2


def test_units_of_one_dimension_are_converted() -> None:
    found = only(two(a_number(0.14, unit="cm"), a_number(2.3)))
    assert found.difference == pytest.approx(0.9)
    assert found.unit == "mm"


def test_several_like_numbers_in_one_group_are_ambiguous_and_not_compared() -> None:
    comparison = compare([a_report(0, a_group(a_number(1.4), a_number(1.5))), a_report(9, a_group(a_number(2.3)))])
    assert comparison.differences == ()
    assert any(note.startswith("ambiguous, not compared: height of") for note in comparison.notes)


def test_several_like_numbers_are_compared_where_each_is_followed_by_a_uid() -> None:
    one = a_group(a_number(1.4, tracking_uid="1.1"), a_number(5.0, tracking_uid="1.2"))
    other = a_group(a_number(5.5, tracking_uid="1.2"), a_number(1.5, tracking_uid="1.1"))
    found = compare([a_report(0, one), a_report(9, other)]).differences
    assert [round(difference.difference or 0, 6) for difference in found] == [0.1, 0.5]


@pytest.mark.parametrize("change", [{"structure": "retina"}, {"direction": "longitudinal"}])
def test_no_band_is_borrowed_from_another_structure_or_technique(change: dict[str, object]) -> None:
    found = only(two(a_number(1.4, **change), a_number(2.3, **change)))
    assert (found.verdict, found.band) == (Verdict.NO_BAND, None)


def test_a_mean_of_repeats_has_no_band_of_single_readings() -> None:
    mean = {"derivation": concept("sr", "mean")}
    assert only(two(a_number(1.4, **mean), a_number(2.3, **mean))).verdict is Verdict.NO_BAND


def test_the_sites_own_figure_comes_before_a_published_one() -> None:
    published = RepeatabilityFigure(
        MeasurementKind.HEIGHT, 0.18, Unit.MM, "", Operators.SEVERAL, Whose.PUBLISHED, "", ""
    )
    own = dataclasses.replace(published, standard_deviation=0.05, unit=Unit.CM, whose=Whose.OWN)
    found = compare([a_report(0, a_group()), a_report(9, a_group(a_number(2.3)))], [published, own]).differences[0]
    assert found.band is not None
    assert found.band.half_width == pytest.approx(repeatability_95(0.5))


# ------------------------------------------------------------------ the same finding


def test_one_tracking_uid_joins_findings_however_their_place_is_described() -> None:
    later = a_group(a_number(2.3), clock_hour=ClockHour(19), structure="retina", finding="tumour")
    assert compare([a_report(0, a_group(a_number(structure=""))), a_report(9, later)]).visits[1].number == 2
    moved = a_group(a_number(2.3), clock_hour=ClockHour(19))
    assert only(compare([a_report(0, a_group()), a_report(9, moved)])).link is Link.TRACKED


def test_without_a_common_uid_one_place_is_proposed_and_marked() -> None:
    found = only(compare([a_report(0, a_group(tracking_uid="1.1")), a_report(9, a_group(tracking_uid="1.2"))]))
    assert found.link is Link.PROPOSED


@pytest.mark.parametrize(
    "other",
    [
        {"eye": Eye.LEFT},
        {"eye": None},
        {"clock_hour": ClockHour(6)},
        {"zone": Zone.EQUATOR},
        {"structure": "retina"},
        {"finding": ""},
        {"presence": "absent"},
        {"structure": "", "clock_hour": None, "zone": None},
    ],
    ids=str,
)
def test_another_place_is_not_even_proposed(other: dict[str, object]) -> None:
    comparison = compare([a_report(0, a_group(tracking_uid="")), a_report(9, a_group(**{"tracking_uid": "", **other}))])
    assert comparison.differences == ()


def test_two_findings_that_both_fit_are_listed_and_not_joined() -> None:
    earlier = a_group(tracking_uid="1.1")
    later = a_group(a_number(2.0), tracking_uid="1.2"), a_group(a_number(3.0), tracking_uid="1.3", zone=None)
    for comparison in (
        compare([a_report(0, earlier), a_report(9, *later)]),
        compare([a_report(0, *later), a_report(9, earlier)]),
    ):
        assert comparison.differences == ()
        assert any(note.startswith("ambiguous: visit 2") for note in comparison.notes)


def test_one_tracking_uid_in_both_eyes_joins_nothing() -> None:
    comparison = compare([a_report(0, a_group()), a_report(9, a_group(eye=Eye.LEFT))])
    assert comparison.differences == ()
    assert any("different eyes" in note for note in comparison.notes)


def test_a_link_through_a_proposed_visit_is_proposed() -> None:
    reports = [a_report(0, a_group()), a_report(6, a_group(tracking_uid="")), a_report(9, a_group())]
    links = [(d.earlier.visit.number, d.later.visit.number, d.link) for d in compare(reports).differences]
    assert links == [(1, 2, Link.PROPOSED), (2, 3, Link.TRACKED), (1, 3, Link.PROPOSED)]


# ------------------------------------------------------------------ patients, visits, trends


@pytest.mark.parametrize("stated", [{"patient_id": "INV-8"}, {"patient_issuer": "ELSEWHERE"}, {"patient_issuer": ""}])
def test_another_patient_or_issuer_is_refused_without_naming_anybody(stated: dict[str, object]) -> None:
    with pytest.raises(DifferentPatientsError) as caught:
        compare([a_report(0, a_group()), a_report(9, a_group(), **stated)])
    assert not {"INV-7", "INV-8", "ELSEWHERE", "INVENTED"} & set(str(caught.value).replace(";", " ").split())


def test_reports_without_any_patient_are_refused() -> None:
    nobody = {"patient_id": "", "patient_issuer": ""}
    with pytest.raises(DifferentPatientsError):
        compare([a_report(0, a_group(), **nobody), a_report(9, a_group(), **nobody)])


@pytest.mark.parametrize("reports", [[], [0], [0, 0]])
def test_one_visit_is_not_a_comparison(reports: list[int]) -> None:
    with pytest.raises(NothingToCompareError):
        compare([a_report(month, a_group()) for month in reports])


def test_of_two_reports_of_one_study_the_later_written_counts() -> None:
    old = a_report(0, a_group(a_number(9.9)), written=datetime(2024, 11, 2, 10), source="old")
    new = a_report(0, a_group(a_number(1.4)), written=datetime(2024, 11, 3, 10), source="new")
    for order in ([old, new], [new, old]):
        comparison = compare([*order, a_report(16, a_group(a_number(2.3)))])
        assert only(comparison).earlier.measurement.value == 1.4
        assert comparison.notes[0].endswith("written later: old")


def test_a_report_without_a_date_is_left_aside_and_said_so() -> None:
    comparison = compare([a_report(0, a_group()), a_report(9, a_group()), a_report(3, a_group(), when=None)])
    assert len(comparison.visits) == 2
    assert "left aside, no date: month 3" in comparison.notes


def test_the_order_of_the_reports_does_not_matter() -> None:
    reports = [a_report(month, a_group(a_number(1 + month / 10))) for month in (0, 8, 16)]
    assert compare(reports) == compare(reports[::-1])


def test_three_visits_give_a_trend_and_two_do_not() -> None:
    reports = [a_report(month, a_group(a_number(value))) for month, value in ((0, 1.4), (8, 1.9), (16, 2.3))]
    (series,) = compare(reports).series
    assert series.trend is not None
    assert series.trend.slope_per_month == pytest.approx(0.05625)
    assert series.trend.span_months == 16.0
    (short,) = compare(reports[:2]).series
    assert short.trend is None


def test_a_reading_that_is_not_comparable_with_the_last_one_stays_out_of_the_trend() -> None:
    odd = a_report(4, a_group(a_number(7.0, speed_m_per_s=1532.0)))
    reports = [a_report(month, a_group(a_number(value))) for month, value in ((0, 1.4), (8, 1.9), (16, 2.3))]
    (series,) = compare([*reports, odd]).series
    assert series.values == (1.4, 1.9, 2.3)
    assert series.left_out == ("visit 2: speeds of sound differ: 1532 m/s and 1550 m/s",)
