"""The table of repeatability, and the tolerances that a document may state."""

from __future__ import annotations

import pytest

from gateway.errors.measurement import RepeatabilityTableError, ToleranceNotApplicableError
from gateway.mapping.repeatability import load_repeatability
from gateway.model.capture import Contact
from gateway.model.measurement import MeasurementKind, Unit
from gateway.model.position import Scan
from gateway.model.repeatability import Operators, Whose

ROW = (
    "{kind: height, statistic: standard-deviation, value: 0.20, unit: mm, operators: same-operator, whose: own, "
    "condition: 20 eyes, source: X, checked: opened}"
)
TABLE = f"format: eye-repeatability/1\nfigures:\n  - {ROW}\n"


def read_table(tmp_path, text):
    path = tmp_path / "repeatability.yaml"
    path.write_text(text, encoding="utf-8")
    return load_repeatability(path)


def test_every_shipped_figure_is_published_and_says_so():
    for figure in load_repeatability():
        assert figure.whose is Whose.PUBLISHED
        assert figure.words.startswith("published, not yours: ")
        assert figure.source in figure.words


# Ademola-Popoola DS et al., J Curr Ophthalmol 2016;27:110-4: within-eye SD 0.03 (immersion), 0.14 (contact).
@pytest.mark.parametrize(("contact", "published"), [(Contact.IMMERSION, 0.03), (Contact.ON_EYE, 0.14)])
def test_axial_lengths_have_the_spread_of_their_contact(contact, published):
    first = next(f for f in load_repeatability() if f.contact is contact)
    assert (first.kind, first.standard_deviation) == (MeasurementKind.AXIAL_LENGTH, published)
    assert first.scans == (Scan.A_SCAN,)


def test_a_mean_absolute_difference_is_no_standard_deviation():
    """Char DH et al., Br J Ophthalmol 1990;74:183: mean absolute difference 0.64 mm between two centres."""
    thickness = next(f for f in load_repeatability() if f.kind is MeasurementKind.THICKNESS)
    assert thickness.standard_deviation is None
    assert "mean absolute difference 0.64 mm" in thickness.words
    assert thickness.operators is Operators.SEVERAL


def test_a_site_table_replaces_the_shipped_one(tmp_path):
    (figure,) = read_table(tmp_path, TABLE)
    assert (figure.kind, figure.standard_deviation, figure.unit) == (MeasurementKind.HEIGHT, 0.2, Unit.MM)
    assert figure.words == "the site's own: standard deviation 0.20 mm, same operator: repeatability; 20 eyes; X"


def test_a_site_may_say_that_it_uses_no_figures(tmp_path):
    assert read_table(tmp_path, "format: eye-repeatability/1\nfigures: []\n") == ()


def test_a_source_that_was_not_opened_is_cited_as_such(tmp_path):
    (figure,) = read_table(tmp_path, TABLE.replace("opened", "memory"))
    assert figure.source == "X (source checked: memory)"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("eye-repeatability/1", "eye-repeatability/2", "not a table of repeatability"),
        ("unit: mm", "unit: mm2", "mm2 is not a unit of this kind"),
        ("source: X, ", "", "required field"),
        ("value: 0.20", "value: about a fifth", "not a number"),
        ("value: 0.20", "value: 0.20, value: 0.30", "stands twice"),
        ("whose: own", "whose: ours", "not known"),
        ("kind: height", "kind: height, eye: right", "not known"),
    ],
)
def test_a_doubtful_table_is_refused_as_a_whole(tmp_path, old, new, said):
    with pytest.raises(RepeatabilityTableError) as caught:
        read_table(tmp_path, TABLE.replace(old, new))
    assert said in str(caught.value)
    assert "repeatability.yaml" in str(caught.value.where)


def test_a_table_that_cannot_be_read_is_refused(tmp_path):
    with pytest.raises(RepeatabilityTableError, match="not YAML"):
        read_table(tmp_path, "format: [")


# ---------------------------------------------------------------- in exam documents


def test_tolerances_and_the_pulse_are_read_from_the_document(read, everything):
    exam = read(everything).exam
    assert (exam.session.probe.cycles, exam.session.probe.bandwidth_mhz) == (2.0, 6.0)
    assert exam.captures[0].calibration.scale_tolerance_percent == 1.5
    assert exam.measurements[0].tissue_speed.tolerance_m_per_s == 10.0
    assert exam.measurements[0].refraction_tolerance_mm == 0.1
    assert exam.measurements[1].tissue_speed.tolerance_m_per_s is None


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("    tissue: tumour\n", "", "speed_tolerance_m_per_s"),
        (
            "kind: axial-length, displayed: {value: 23.1, unit: mm}",
            "kind: angle, displayed: {value: 23.1, unit: deg}, refraction_tolerance_mm: 0.1",
            "refraction_tolerance_mm",
        ),
    ],
)
def test_a_tolerance_of_nothing_is_refused(read, everything, old, new, field):
    text = everything.replace(old, new, 1)
    reasons = [part.reason for part in read(text).held]
    assert any(isinstance(r, ToleranceNotApplicableError) and field in str(r.where) for r in reasons)
