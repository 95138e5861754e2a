"""The table of speeds of sound. Figures beside their published source are checked against that source."""

from __future__ import annotations

import pytest

from gateway.errors.document import SpeedsTableError
from gateway.mapping.speeds import load_speeds

ROW = "{tissue: vitreous, speed_m_per_s: 1532, condition: 37 C, source: X, checked: opened}"
TABLE = f"format: eye-speeds-of-sound/1\nspeeds:\n  - {ROW}\n"

# Waldron RG, Aaberg TM, A-Scan Biometry, eMedicine 2008; Hoffer KJ, J Cataract Refract Surg 1994;20:554-62; American
# Academy of Ophthalmology, BCSC section 3, 2020-21; normal ocular tissue at 50-100 MHz, 1995; BMC Dermatology 2001;1:1.
PUBLISHED = {
    "vitreous": (1532, "Waldron"),
    "aqueous": (1532, "Waldron"),
    "lens": (1641, "Waldron"),
    "cornea": (1641, "Waldron"),
    "phakic-eye-teaching": (1550, "Waldron"),
    "phakic-eye": (1555, "Hoffer"),
    "aphakic-eye": (1534, "Hoffer"),
    "phakic-eye-silicone-oil": (1139, "Hoffer"),
    "aphakic-eye-silicone-oil": (1052, "Hoffer"),
    "phakic-eye-gas": (534, "Hoffer"),
    "silicone-oil": (980, "American Academy"),
    "sclera": (1622, "1995"),
    "iris": (1542, "1995"),
    "melanoma-skin-primary": (1564, "BMC Dermatology"),
    "water-20-degrees": (1482.4, "Bilaniuk"),
    "water-25-degrees": (1496.7, "Bilaniuk"),
    "water-37-degrees": (1523.6, "Bilaniuk"),
}


@pytest.mark.parametrize(("tissue", "published"), PUBLISHED.items())
def test_a_speed_agrees_with_its_source(tissue, published):
    row = load_speeds()[tissue]
    assert row.speed_m_per_s == published[0]
    assert published[1] in row.source
    assert row.tissue == tissue


@pytest.mark.parametrize("tissue", ["tumour", "cataractous-lens"])
def test_a_value_from_memory_says_so(tissue):
    assert "memory" in load_speeds()[tissue].source


def test_every_row_is_either_checked_here_or_says_memory():
    assert set(load_speeds()) == {*PUBLISHED, "tumour", "cataractous-lens"}


def test_a_site_table_replaces_the_shipped_one(tmp_path):
    path = tmp_path / "speeds.yaml"
    path.write_text(TABLE)
    assert list(load_speeds(path)) == ["vitreous"]


@pytest.mark.parametrize(
    ("checked", "cited"), [("secondary", "cited from a page that quotes it"), ("memory", "cited from memory")]
)
def test_a_source_that_was_not_opened_is_cited_as_such(tmp_path, checked, cited):
    path = tmp_path / "speeds.yaml"
    path.write_text(TABLE.replace("opened", checked))
    assert load_speeds(path)["vitreous"].source == f"X (37 C; {cited})"
    path.write_text(TABLE)
    assert load_speeds(path)["vitreous"].source == "X (37 C)"


def test_state_and_temperature_travel_with_the_source(tmp_path):
    path = tmp_path / "speeds.yaml"
    path.write_text(TABLE.replace("condition: 37 C", "state: liquefied, temperature: 37 degrees C"))
    assert load_speeds(path)["vitreous"].source == "X (liquefied; 37 degrees C)"


def test_every_shipped_row_states_its_temperature_or_that_none_is_stated():
    rows = [row.source for row in load_speeds().values()]
    assert [source for source in rows if "temperature" not in source and "degrees C" not in source] == []


@pytest.mark.parametrize("celsius", [20, 25, 37])
def test_water_has_the_speed_of_the_published_polynomial(celsius):
    # Bilaniuk N, Wong GSK, J Acoust Soc Am 1993;93:1609-12, the form through 148 points.
    terms = (1402.38744, 5.03836171, -5.81172916e-2, 3.34638117e-4, -1.48259672e-6, 3.16585020e-9)
    published = sum(term * celsius**power for power, term in enumerate(terms))
    assert load_speeds()[f"water-{celsius}-degrees"].speed_m_per_s == pytest.approx(published, abs=0.05)


def test_the_table_cannot_be_changed_by_a_reader():
    with pytest.raises(TypeError):
        load_speeds()["vitreous"] = None


@pytest.mark.parametrize(
    ("old", "new", "fragment"),
    [
        ("speed_m_per_s: 1532", "speed_m_per_s: 1.532", "out of range"),
        ("speed_m_per_s: 1532", "speed_m_per_s: '1,532'", "comma"),
        ("speed_m_per_s: 1532", "speed_m_per_s: fast", "not a number"),
        ("source: X", "source: ''", "nothing is stated"),
        (", source: X", "", "missing"),
        (", checked: opened", "", "missing"),
        ("checked: opened", "checked: yes", "not known"),
        ("condition: 37 C, ", "", "without what it holds for"),
        ("tissue: vitreous", "tissue: Vitreous", "small letters"),
        (ROW, f"{ROW}\n  - {ROW}", "twice"),
        (ROW, "{tissue: a, tissue: b}", "twice"),
        ("speeds:", "speed:", "not known"),
        (f"  - {ROW}", "  []", "empty"),
        ("/1", "/2", "not a table"),
        ("format", "\tformat", "not YAML"),
    ],
)
def test_a_doubtful_row_refuses_the_table(tmp_path, old, new, fragment):
    path = tmp_path / "speeds.yaml"
    path.write_text(TABLE.replace(old, new))
    with pytest.raises(SpeedsTableError) as caught:
        load_speeds(path)
    assert fragment in str(caught.value)
    assert "speeds.yaml" in str(caught.value)


def test_a_missing_table_is_named(tmp_path):
    with pytest.raises(SpeedsTableError):
        load_speeds(tmp_path / "none.yaml")
