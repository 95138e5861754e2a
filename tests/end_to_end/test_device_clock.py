"""A device clock that was wrong: objects carry the true time, and both say what the clock showed."""

from __future__ import annotations

import pytest
from pydicom import dcmread

from tests.end_to_end.conftest import gateway
from tests.end_to_end.small_exam import DOCUMENT, write_small_exam

WRONG_CLOCK = DOCUMENT.replace(
    "  start: 2026-03-02T09:30:00+01:00\n",
    "  start: 2026-03-02T09:30:00\n  time_zone: Europe/Berlin\n  device: {clock_ahead_s: 130}\n",
).replace("    zone: equator\n", "    zone: equator\n    acquired: 2026-03-02T09:34:10\n")


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clock")
    exam = write_small_exam(folder / "exam", WRONG_CLOCK)
    gateway("build", exam, "--out", folder / "out")
    return folder / "out"


def test_objects_carry_the_true_time_and_what_the_clock_showed(built):
    images = [
        ds
        for ds in map(dcmread, sorted(built.rglob("*.dcm")))
        if "transverse 3 o'clock" in str(ds.get("ImageComments"))
    ]
    (image,) = images
    assert image.AcquisitionDateTime.startswith("20260302093200")
    assert image.StudyTime.startswith("092750")
    assert (
        "device clock showed 2026-03-02 09:34:10, 130 s ahead: acquired at 2026-03-02 09:32:00" in image.ImageComments
    )


def test_the_report_says_how_the_clock_ran(built):
    (page,) = built.rglob("report.html")
    text = " ".join(page.read_text(encoding="utf-8").split())
    assert "ran 130 s ahead and showed 2026-03-02 09:30:00 at the start" in text


def test_the_sites_zone_comes_from_its_settings(tmp_path):
    exam = write_small_exam(tmp_path / "exam", DOCUMENT.replace("09:30:00+01:00", "09:30:00"))
    settings = tmp_path / "gateway.toml"
    settings.write_text('[site]\ntime_zone = "Europe/Helsinki"\n', encoding="utf-8")
    gateway("build", exam, "--out", tmp_path / "out", "--settings", settings)
    offsets = {dcmread(path).TimezoneOffsetFromUTC for path in (tmp_path / "out").rglob("*.dcm")}
    assert offsets == {"+0200"}


def test_a_zone_that_nobody_knows_is_named_with_its_line(tmp_path):
    exam = write_small_exam(tmp_path / "exam")
    settings = tmp_path / "gateway.toml"
    settings.write_text('[site]\ntime_zone = "Europe/Helsinkki"\n', encoding="utf-8")
    printed = gateway("build", exam, "--out", tmp_path / "out", "--settings", settings, code=3)
    assert "gateway.toml:2" in printed
    assert "Europe/Helsinkki" in printed
