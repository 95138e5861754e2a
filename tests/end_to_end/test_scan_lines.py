"""Raw scan lines in an exam folder become pictures with a scale; what is measured on them is true."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image
from pydicom import dcmread

from tests.conformance.oracle import verdict
from tests.end_to_end.conftest import gateway

HEAD = """\
format: eye-ultrasound-exam/1
synthetic: yes
eyes_stated_by: "Lind^Tove"
patient: {id: "INV-1", issuer: "INVENTED", name: "Holm^Maija"}
session: {start: 2026-03-02T09:30:00+01:00}
captures:
  - id: raw
    kind: %(kind)s
    file: %(file)s
    eye: right
    scan: axial-horizontal
    scan_lines: {%(lines)s}
"""
SECTOR = (
    "sector: {pivot_to_face_mm: 8, first_angle_deg: -26, last_angle_deg: 26}, depth_axis: left-to-right, "
    "assumed_speed_m_per_s: 1550, sample_interval_mm: 0.05, mm_per_pixel: 0.05"
)
CALIPER = """\
measurements:
  - {id: m1, capture: raw, kind: distance, points: [[%g, %g], [%g, %g]], structure: vitreous%s}
"""


def echoes(dtype=np.uint8):
    """161 lines of 600 samples with an echo 5 mm and one 25 mm below the face, on every line."""
    samples = np.zeros((161, 600), dtype=dtype)
    samples[:, [100, 500]] = np.iinfo(dtype).max
    return samples


def write(folder, samples, *, name="raw.npy", kind="still", lines=SECTOR, more=""):
    folder.mkdir()
    if name.endswith(".npy"):
        np.save(folder / name, samples)
    else:
        Image.fromarray(samples).save(folder / name)
    said = HEAD % {"kind": kind, "file": name, "lines": lines} + more
    (folder / "exam.yaml").write_text(said, encoding="utf-8")
    return folder


def images(folder):
    return [ds for ds in map(dcmread, sorted(folder.rglob("*.dcm"))) if ds.Modality == "US"]


@pytest.mark.parametrize(
    ("dtype", "name"),
    [
        (np.uint8, "raw.npy"),
        (np.uint16, "raw.npy"),
        (np.uint8, "raw.png"),
        (np.uint16, "raw.png"),
        (np.uint16, "raw.tif"),
    ],
)
def test_the_echoes_lie_at_their_depth_on_the_stored_picture(tmp_path, dtype, name):
    exam = write(tmp_path / "exam", echoes(dtype), name=name)
    gateway("build", exam, "--out", tmp_path / "out")
    (image,) = images(tmp_path / "out")
    (region,) = image.SequenceOfUltrasoundRegions
    assert region.PhysicalDeltaX == pytest.approx(0.005)  # cm
    assert image.ImageType[0] == "ORIGINAL"
    axis_row = image.pixel_array[image.Rows // 2].astype(int)
    bright = np.flatnonzero(axis_row > 60) + 0.5
    along = np.cos(np.radians(26)) * 8 - 8  # the picture begins where the outermost line does
    depths = along + bright * 0.05
    assert depths[depths < 15].mean() == pytest.approx(5.0, abs=0.03)
    assert depths[depths > 15].mean() == pytest.approx(25.0, abs=0.03)
    assert "161 scan lines of 600 samples" in image.DerivationDescription


def test_every_picture_is_clean_for_an_outside_checker(tmp_path):
    """dciodvfy of dicom3tools: an independent reading of PS3.3."""
    loop = np.stack([echoes(), np.roll(echoes(), 3, axis=1)])
    exam = write(tmp_path / "exam", loop, kind="loop", more="    frame_rate_hz: 12\n")
    gateway("build", exam, "--out", tmp_path / "out")
    found = sorted((tmp_path / "out").rglob("*.dcm"))
    assert len(found) == 3
    for path in found:
        assert verdict(path.read_bytes()).errors == frozenset(), path.name
    (image,) = images(tmp_path / "out")
    assert (image.NumberOfFrames, float(image.FrameTime)) == (2, pytest.approx(1000 / 12, abs=1e-3))


def test_a_caliper_on_the_picture_measures_the_depth_between_the_echoes(tmp_path):
    """20 mm at 1550 m/s are 20 x 1532/1550 mm at 1532 m/s along a beam (pulse-echo, round trip)."""
    offset = (8 - np.cos(np.radians(26)) * 8) / 0.05
    middle = (8 + 29.95) * np.sin(np.radians(26)) / 0.05
    more = CALIPER % (offset + 100, middle, offset + 500, middle, ", tissue: vitreous")
    exam = write(tmp_path / "exam", echoes(), more=more)
    gateway("build", exam, "--out", tmp_path / "out")
    (report,) = [ds for ds in map(dcmread, (tmp_path / "out").rglob("*.dcm")) if ds.Modality == "SR"]
    lengths = sorted(numbers(report, "mm"))
    assert 20.0 in [pytest.approx(value, abs=0.01) for value in lengths]
    assert 20 * 1532 / 1550 in [pytest.approx(value, abs=0.01) for value in lengths]


def numbers(item, unit):
    """Every number with this unit in a content tree."""
    for child in item.get("ContentSequence", ()):
        for measured in child.get("MeasuredValueSequence", ()):
            if measured.MeasurementUnitsCodeSequence[0].CodeValue == unit:
                yield float(measured.NumericValue)
        yield from numbers(child, unit)


def test_lines_in_columns_give_the_same_picture(tmp_path):
    rows = write(tmp_path / "rows", echoes())
    columns = write(
        tmp_path / "columns", np.ascontiguousarray(echoes().T), lines=SECTOR + ", layout: lines-are-columns"
    )
    pictures = []
    for exam in (rows, columns):
        gateway("build", exam, "--out", tmp_path / f"{exam.name}-out")
        pictures.append(images(tmp_path / f"{exam.name}-out")[0].pixel_array)
    assert np.array_equal(*pictures)


def test_a_sampling_rate_is_the_interval_it_stands_for(tmp_path):
    """One sample of 15.5 MHz at 1550 m/s is 1550 / (2 x 15.5e6) m = 0.05 mm."""
    rate = SECTOR.replace("sample_interval_mm: 0.05", "sampling_rate_mhz: 15.5")
    sizes = set()
    for name, lines in (("interval", SECTOR), ("rate", rate)):
        exam = write(tmp_path / name, echoes(), lines=lines)
        gateway("build", exam, "--out", tmp_path / f"{name}-out")
        sizes.add(images(tmp_path / f"{name}-out")[0].pixel_array.tobytes())
    assert len(sizes) == 1


def test_other_angles_are_another_object(tmp_path):
    uids = set()
    for name, last in (("one", "26"), ("two", "26.00001")):
        exam = write(tmp_path / name, echoes(), lines=SECTOR.replace("last_angle_deg: 26", f"last_angle_deg: {last}"))
        gateway("build", exam, "--out", tmp_path / f"{name}-out")
        uids.add(images(tmp_path / f"{name}-out")[0].SOPInstanceUID)
    assert len(uids) == 2


@pytest.mark.parametrize(
    ("samples", "lines", "words"),
    [
        (echoes().astype(np.float32), SECTOR, "whole numbers"),
        (echoes().astype(np.int16), SECTOR, "whole numbers"),
        (np.array([{}, {}], dtype=object), SECTOR, "whole numbers"),
        (np.zeros((0, 5), dtype=np.uint8), SECTOR, "whole numbers"),
        (np.stack([echoes()] * 2), SECTOR, "has 2 axes"),
        (echoes(), SECTOR.replace("last_angle_deg: 26", "last_angle_deg: -26"), "one way"),
        (echoes(), SECTOR + ", sampling_rate_mhz: 40", "both stand here"),
        (echoes(), SECTOR.replace(", sample_interval_mm: 0.05", ""), "neither sample_interval_mm"),
        (echoes(), SECTOR.replace(", last_angle_deg: 26", ""), "angles of the lines are not stated"),
        (echoes(), SECTOR.replace("last_angle_deg: 26", "last_angle_deg: 26, angles_deg: [1, 2]"), "stated twice"),
        (echoes(), SECTOR + ", window: {low: 9, high: 9}", "window ends"),
        (echoes(), SECTOR.replace("mm_per_pixel: 0.05", "mm_per_pixel: 0.0001"), "too large"),
        (echoes(), SECTOR.replace("sector:", "linear: {pitch_mm: 0.1}, sector:"), "both stand here"),
    ],
)
def test_lines_that_make_no_picture_are_refused_with_the_reason(tmp_path, samples, lines, words):
    exam = write(tmp_path / "exam", samples, lines=lines)
    printed = " ".join(gateway("build", exam, "--out", tmp_path / "out", code=3).split())
    assert words in printed


def test_a_calibration_beside_scan_lines_is_a_contradiction(tmp_path):
    exam = write(tmp_path / "exam", echoes(), more="    calibration: {mm_per_pixel: {x: 1, y: 1}}\n")
    printed = " ".join(gateway("build", exam, "--out", tmp_path / "out", code=3).split())
    assert "bring their own scale" in printed
    assert "exam.yaml:13" in printed


def test_a_file_cut_short_is_refused(tmp_path):
    exam = write(tmp_path / "exam", echoes())
    content = (exam / "raw.npy").read_bytes()
    (exam / "raw.npy").write_bytes(content[:-100])
    assert "not as long as it says" in " ".join(gateway("build", exam, "--out", tmp_path / "out", code=3).split())


LINES = "    a_scan_lines: [{id: middle, scan_line: 81%s}, {id: edge, scan_line: 1%s}]\n"


def test_a_raw_line_is_shown_as_an_a_scan_with_its_echoes(tmp_path):
    """Samples 100 and 500 of 0.05 mm: 5 and 25 mm; there and back at 1550 m/s that is 6.452 and 32.258 us."""
    exam = write(tmp_path / "exam", echoes(np.uint16), more=LINES % ("", ""))
    printed = json.loads(gateway("build", exam, "--out", tmp_path / "out", "--json"))
    assert "middle" in json.dumps(printed)
    (page,) = (tmp_path / "out").rglob("report.html")
    text = " ".join(page.read_text(encoding="utf-8").split())
    assert "Samples of scan line 81 as they were recorded: sample value, not reflectivity" in text
    assert "5.00 mm, 6.45 µs" in text
    assert "25.00 mm, 32.26 µs" in text


def test_a_raw_line_of_a_kept_range_is_that_of_the_stored_frame(tmp_path):
    frames = np.stack([np.roll(echoes(), 10 * n, axis=1) for n in range(4)])
    more = "    frame_rate_hz: 12\n    keep: {first: 2, last: 4}\n" + LINES % (", frame: 3", ", frame: 3")
    exam = write(tmp_path / "exam", frames, kind="loop", more=more)
    gateway("build", exam, "--out", tmp_path / "out")
    (page,) = (tmp_path / "out").rglob("report.html")
    assert "6.00 mm, 7.74 µs" in " ".join(page.read_text(encoding="utf-8").split())  # 5 mm and twice 10 samples


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("scan_line: 162", "no such scan line"),
        ("scan_line: 3, from: [1, 1], to: [2, 2]", "both stand here"),
        ("scan_line: 3, band_mm: 1", "no width"),
        ("from: [1, 1]", "ends are not stated"),
    ],
)
def test_a_line_that_cannot_be_shown_is_refused(tmp_path, line, words):
    exam = write(tmp_path / "exam", echoes(), more=f"    a_scan_lines: [{{id: a, {line}}}]\n")
    assert words in " ".join(gateway("build", exam, "--out", tmp_path / "out", code=3).split())
