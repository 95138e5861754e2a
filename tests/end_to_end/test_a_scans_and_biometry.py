"""From an exam folder with A-scans to DICOM objects, the structured report and both readable ones.

Read by other people's programs: highdicom, dsrdump (DCMTK), dciodvfy (dicom3tools), pdftotext (poppler).
"""

from __future__ import annotations

import json
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import highdicom
import pytest
from pydicom import Dataset, dcmread
from pydicom.sr.codedict import codes

from tests.end_to_end.a_scan_exam import DEPTHS_MM, DOCUMENT, write_a_scan_exam
from tests.end_to_end.conftest import gateway
from tests.programs import require

CAUTION = "not for lens-power calculation unless biometry with method, speed and quality came with it"


@dataclass(frozen=True)
class Built:
    """What ``gateway build`` left behind."""

    folder: Path
    tables: str

    @property
    def files(self) -> list[Path]:
        return sorted((self.folder / "dicom").iterdir())

    @property
    def report_file(self) -> Path:
        (found,) = [path for path in self.files if dcmread(path, stop_before_pixels=True).Modality == "SR"]
        return found

    @property
    def html(self) -> str:
        return (self.folder / "report.html").read_text(encoding="utf-8")

    def image(self, capture_number: int) -> Dataset:
        (found,) = [
            ds for ds in map(dcmread, self.files) if ds.Modality == "US" and int(ds.InstanceNumber) == capture_number
        ]
        return found


def run(folder: Path, document: str = DOCUMENT, *options: str | Path, code: int = 0) -> Built:
    exam = write_a_scan_exam(folder / "exam", document)
    store = folder / "store"
    settings = folder / "gateway.toml"
    if not settings.exists():
        settings.write_text(f'[store]\ndata_folder = "{store}"\n', encoding="utf-8")
    out = folder / "out"
    return Built(out, gateway("build", exam, "--out", out, "--settings", settings, *options, cwd=folder, code=code))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    return run(tmp_path_factory.mktemp("a-scans"))


def groups(built: Built) -> list[Any]:
    content = highdicom.sr.srread(built.report_file).content
    assert isinstance(content, highdicom.sr.MeasurementReport)
    return list(content.get_image_measurement_groups())


def numbers(built: Built) -> dict[str, Any]:
    """Each measurement of each group by its tracking identifier."""
    found = {}
    for group in groups(built):
        for measurement in group.get_measurements():
            below = measurement[0].ContentSequence
            label = next(child.value for child in below if child.name == codes.DCM.TrackingIdentifier)
            found[label] = measurement[0]
    return found


def texts_below(item: Any) -> list[str]:
    return [str(child.value) for child in item.ContentSequence if child.value_type.value == "TEXT"]


def test_the_picture_keeps_its_region_and_the_strip_has_its_own(built: Built) -> None:
    picture, strip = built.image(1).SequenceOfUltrasoundRegions
    assert (picture.RegionSpatialFormat, strip.RegionSpatialFormat) == (1, 4)
    assert (strip.PhysicalDeltaX, strip.PhysicalDeltaY, strip.PhysicalUnitsYDirection) == (0.01, -5.0, 1)
    (alone,) = built.image(2).SequenceOfUltrasoundRegions
    assert (alone.RegionSpatialFormat, alone.PhysicalDeltaX) == (4, 0.015)


def test_other_peoples_checker_finds_no_error_in_any_object(built: Built) -> None:
    for path in built.files:
        result = subprocess.run([require("dciodvfy"), "-new", path], capture_output=True, text=True, check=False)
        said = (result.stdout + result.stderr).splitlines()
        assert [line for line in said if line.startswith(("Error", "ABORT"))] == [], path


def test_reflectivity_reaches_the_structured_report_with_class_and_sensitivity(built: Built) -> None:
    item = numbers(built)["reflectivity of choroid, od-ax"]
    assert (item.value, item.unit.value, item.unit.scheme_designator) == (42.0, "%", "UCUM")
    below = {child.name.meaning: child for child in item.ContentSequence}
    assert below["Tissue sensitivity"].value == 72.0
    assert below["Class of reflectivity"].value.meaning == "Medium reflectivity"
    assert below["Measurement Method"].value.meaning == "Standardized A-scan"
    assert any("0-5, 5-40, 40-60" in words for words in texts_below(item))


def test_a_difference_in_decibels_names_what_it_was_compared_with(built: Built) -> None:
    item = numbers(built)["echo-difference of retina against sclera, od-ax"]
    assert (item.value, item.unit.value) == (14.0, "dB")
    below = {child.name.meaning: child for child in item.ContentSequence}
    assert below["Structure compared with"].value.meaning == "Sclera"
    assert any("58 dB and 44 dB" in words for words in texts_below(item))


def test_lengths_reach_the_structured_report_with_method_uncertainty_and_caution(built: Built) -> None:
    """By layers 23.8269 mm (v t / 2 by hand: 3.5236 + 4.6769 + 15.6264); 23.3554 mm by Hoffer 1994 from 23.00."""
    found = numbers(built)
    layers, formula = found["by-layers"], found["by-formula hoffer-1994-phakic"]
    assert layers.value == pytest.approx(23.8269, abs=5e-5)
    assert formula.value == pytest.approx(23.3554, abs=5e-5)
    for item in (layers, formula):
        assert CAUTION in texts_below(item)
    (plus,) = [c for c in layers.ContentSequence if c.name == codes.SCT.RangeOfUpperMeasurementUncertainty]
    assert 0.1 < plus.value < 0.3
    budget = next(words for words in texts_below(layers) if words.startswith("expanded uncertainty"))
    for part in ("speed of sound in lens", "times of the echoes", "axial resolution"):
        assert part in budget
    assert any("no spread was published" in words for words in texts_below(formula))


def test_dsrdump_reads_the_report_without_complaint(built: Built) -> None:
    result = subprocess.run([require("dsrdump"), "+Pc", built.report_file], capture_output=True, text=True, check=False)
    said = result.stdout + result.stderr
    assert result.returncode == 0
    assert [line for line in said.splitlines() if line.startswith(("E:", "F:"))] == []
    for words in ("Reflectivity, percent of the initial spike", "Tissue sensitivity", "Echo weaker than its reference"):
        assert words in said


def rows(tables: str, first: str) -> list[str]:
    return [line for line in tables.splitlines() if line.strip().startswith(first)]


def test_the_console_shows_curves_reflectivity_and_lengths(built: Built) -> None:
    flat = re.sub(r"\s+", " ", built.tables)
    assert "grey level, not reflectivity" in flat
    assert "sample value, not reflectivity" in flat
    assert "42 % of the initial spike" in flat
    assert "14 dB weaker than sclera" in flat
    assert CAUTION.split(" unless", maxsplit=1)[0] in flat


def test_peaks_are_offered_where_the_picture_has_its_walls(built: Built, tmp_path: Path) -> None:
    """At the device's own speed, and stretched for another one; times are the same (d = v t / 2)."""
    printed = run(tmp_path, DOCUMENT, "--json").tables
    by_id = {row["A-scan"]: row for row in json.loads(printed[printed.index("{") :])["a-scans"]}
    for name, factor in (("axis", 1.0), ("at-vitreous", 1532 / 1550)):
        offered = by_id[name]["peaks offered, none chosen"]
        depths = [float(words) for words in re.findall(r"([0-9.]+) mm", offered)]
        times = [float(words) for words in re.findall(r"\(([0-9.]+) us\)", offered)]
        assert depths == pytest.approx([depth * factor for depth in DEPTHS_MM], abs=0.03)
        assert times == pytest.approx([2000 * depth / 1550 for depth in DEPTHS_MM], abs=0.04)
    assert "us" not in by_id["across"]["length"]
    late = by_id["late"]
    assert (late["on"], late["speed of sound"]) == ("os-loop, frame 3", "the device's, not stated")
    assert late["peaks offered, none chosen"].count("mm") == 3
    # Samples: tops at 1.5 and 4.0 us at 1532 m/s.
    assert [float(w) for w in re.findall(r"([0-9.]+) mm", by_id["samples"]["peaks offered, none chosen"])] == (
        pytest.approx([1.149, 3.064], abs=0.01)
    )


def test_the_web_page_plots_every_a_scan_beside_its_picture(built: Built) -> None:
    page = built.html
    assert page.count('class="a-scan"') == 5
    for words in (
        "A-scan, line axis on picture 1",
        "A-scan, line late on picture 3, frame 3",
        "A-scan, samples with picture 4",
        "depth in mm at 1550 m/s",
        "depth in mm at the device&#39;s speed",
        "round-trip time in µs",
        "grey level, not reflectivity",
        "Waldron RG",
        "Reflectivity on standardized A-scans",
        "42 % of the initial spike",
        "Classes of reflectivity: five classes",
    ):
        assert words in page, words
    # One alternative text for each plot.
    assert len(re.findall(r'<svg[^>]*aria-label="Plot of (?:grey level|sample value) over depth', page)) == 5


def test_the_printed_report_says_the_same(built: Built) -> None:
    pdf = built.folder / "report.pdf"
    said = subprocess.run([require("pdftotext"), "-layout", pdf, "-"], capture_output=True, text=True, check=True)
    flat = re.sub(r"\s+", " ", said.stdout)
    for words in (
        "A-scan, line axis on picture 1",
        "grey level, not reflectivity",
        "42 % of the initial spike",
        "14 dB weaker than sclera",
        "round-trip time in µs",
        "Axial length, phakic, from 1532 m/s, Hoffer 1994",
        "Not for lens-power calculation unless biometry with method, speed and quality came with it",
    ):
        assert words in flat, words


def test_a_line_that_leaves_the_picture_is_held_alone(tmp_path: Path) -> None:
    built = run(tmp_path, DOCUMENT.replace("to: [190, 50]}", "to: [290, 50]}", 1), code=1)
    assert "od-ax axis" in built.tables
    assert "line-not-measurable" in built.tables
    assert built.html.count('class="a-scan"') == 4
    assert "od-ax axis" in built.html
    assert "by-layers" in numbers(built)


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("standardized: yes", "standardized: no"),
        ("      tissue_sensitivity_db: 72\n", ""),
        ("      standardized: yes\n", ""),
    ],
)
def test_reflectivity_without_standardization_holds_its_capture(was: str, now: str, tmp_path: Path) -> None:
    built = run(tmp_path, DOCUMENT.replace(was, now), code=1)
    assert "reflectivity-not-standardized" in built.tables
    assert not [label for label in numbers(built) if "reflectivity" in label or "difference" in label]
    assert "initial spike" not in built.html


OWN = """\
format: eye-repeatability/1
figures:
  - kind: axial-length
    scans: [a-scan]
    statistic: standard-deviation
    value: 0.055
    unit: mm
    operators: same-operator
    whose: own
    condition: invented for a test, 20 eyes
    source: record of the site
    checked: opened
"""


def test_a_sites_own_figures_replace_the_published_ones(built: Built, tmp_path: Path) -> None:
    """``[site] repeatability``: published figures go as a whole, and the number follows the site's own."""
    (tmp_path / "own.yaml").write_text(OWN, encoding="utf-8")
    (tmp_path / "gateway.toml").write_text(
        f'[store]\ndata_folder = "{tmp_path / "store"}"\n[site]\nrepeatability = "{tmp_path / "own.yaml"}"\n',
        encoding="utf-8",
    )
    own = run(tmp_path)

    def budget(of: Built, label: str) -> str:
        return next(w for w in texts_below(numbers(of)[label]) if "uncertainty" in w)

    published, site = (budget(one, "by-layers") for one in (built, own))
    assert "spread of readings (published, not yours): standard uncertainty 0.03 mm" in published
    assert "repeatability (the site's own): standard uncertainty 0.055 mm" in site
    assert "record of the site" in site
    assert "published" not in site
    # A transcribed number takes a site's own figure, never a published one.
    assert "uncertainty not stated" in budget(built, "by-formula")
    assert "expanded uncertainty 0.11 mm" in budget(own, "by-formula")
    assert "Published, not yours" not in own.html


def test_reflectivity_of_two_visits_is_compared_at_one_tissue_sensitivity_alone(built: Built, tmp_path: Path) -> None:
    later = DOCUMENT.replace("2026-03-02T", "2026-09-02T").replace("percent: 42", "percent: 60")
    for sensitivity, difference in ((72, 18.0), (76, None)):
        stated = later.replace("tissue_sensitivity_db: 72", f"tissue_sensitivity_db: {sensitivity}")
        exam = write_a_scan_exam(tmp_path / f"at-{sensitivity}", stated)
        content = json.loads(gateway("compare", built.report_file, exam, "--json", cwd=tmp_path))
        (row,) = [row for row in content["differences"] if row["quantity"].startswith("reflectivity")]
        assert (row["difference"], row["unit"]) == (difference, "%")


def test_a_volume_of_two_visits_is_not_compared_where_contact_differs(tmp_path: Path) -> None:
    """Its pictures stand below the numbers that it was computed from; the exam and its report say the same of them."""
    sources = "".join(
        f"  - {{id: {name}, capture: {capture}, kind: {kind}, structure: choroid, "
        f"displayed: {{value: {value}, unit: mm}}}}\n"
        for name, capture, kind, value in (
            ("b", "od-ax", "base", "9.0"),
            ("h", "od-a", "height", "4.0"),
        )
    )
    volume = "  - {id: v, capture: od-ax, kind: half-ellipsoid-volume, structure: choroid, of: [b, h],"
    volume += " third_dimension: like-the-first}\n"
    both = DOCUMENT.replace("scan: axial-horizontal", "scan: axial-horizontal\n    contact: immersion")
    first = run(tmp_path, both + sources + volume)
    later = (both + sources + volume).replace("2026-03-02T", "2026-09-02T")
    for name, document, verdict in (
        ("same", later, "no band known"),
        ("other", later.replace("contact: immersion", "contact: through-lid"), "not comparable"),
    ):
        exam = write_a_scan_exam(tmp_path / name, document)
        content = json.loads(gateway("compare", first.report_file, exam, "--json", cwd=tmp_path))
        (row,) = [row for row in content["differences"] if "volume" in row["quantity"]]
        assert row["verdict"] == verdict
