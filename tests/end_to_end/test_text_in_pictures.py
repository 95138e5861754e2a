"""Text in a picture, from the exam document to the objects: stated, flagged, masked; the files stay as they are."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from PIL import Image
from pydicom import dcmread

from tests.conformance.oracle import verdict
from tests.end_to_end.conftest import gateway
from tests.end_to_end.small_exam import DOCUMENT, write_small_exam

STILL = "    zone: equator\n"
LOOP = "    frame_rate_hz: 20\n"


def build(tmp_path, still="", loop=""):
    """Build the small exam with more said of its first still and its loop; return folder and images by capture."""
    document = DOCUMENT.replace(STILL, STILL + still).replace(LOOP, LOOP + loop)
    exam = write_small_exam(tmp_path / "exam", document)
    gateway("build", exam, "--out", tmp_path / "out")
    objects = [dcmread(path) for path in sorted((tmp_path / "out").rglob("*.dcm"))]
    return exam, {ds.ImageComments: ds for ds in objects if ds.Modality == "US"}


def of(images, words):
    (found,) = [ds for comments, ds in images.items() if words in comments]
    return found


def areas(*corners, identifies="yes", mask="yes"):
    listed = ", ".join(f"{{x0: {x0}, y0: {y0}, x1: {x1}, y1: {y1}}}" for x0, y0, x1, y1 in corners)
    return f"    burned_in_text: {{identifies_patient: {identifies}, regions: [{listed}], mask: {mask}}}\n"


def test_nobody_has_looked_so_nothing_is_said(tmp_path):
    _, images = build(tmp_path)
    assert all("BurnedInAnnotation" not in ds for ds in images.values())


@pytest.mark.parametrize(("identifies", "flag"), [("yes", "YES"), ("no", "NO")])
def test_stated_text_sets_burned_in_annotation_and_leaves_the_pixels(tmp_path, identifies, flag):
    exam, images = build(tmp_path, f"    burned_in_text: {{identifies_patient: {identifies}}}\n")
    image = of(images, "transverse 3 o'clock")
    assert image.BurnedInAnnotation == flag
    assert image.ImageType[0] == "ORIGINAL"
    assert np.array_equal(image.pixel_array, np.asarray(Image.open(exam / "od-t3.png")))


def test_masking_blackens_the_stated_areas_and_nothing_else(tmp_path):
    exam, images = build(tmp_path, areas((0, 0, 20, 9), (60, 40, 63, 47)))
    image = of(images, "transverse 3 o'clock")
    expected = np.asarray(Image.open(exam / "od-t3.png")).copy()
    expected[0:10, 0:21] = 0
    expected[40:48, 60:64] = 0
    assert np.array_equal(image.pixel_array, expected)
    assert image.BurnedInAnnotation == "NO"
    assert image.ImageType[0] == "DERIVED"  # PS3.3 C.7.6.1.1.2: pixel values were changed
    assert "columns 0 to 20, rows 0 to 9" in image.DerivationDescription
    assert "stays with its source" in image.ImageComments


def test_masking_a_loop_blackens_every_frame(tmp_path):
    _, plain = build(tmp_path / "plain")
    _, images = build(tmp_path / "masked", loop=areas((5, 5, 9, 9)))
    before, after = of(plain, "longitudinal 9 o'clock"), of(images, "longitudinal 9 o'clock")
    expected = before.pixel_array.copy()
    expected[:, 5:10, 5:10] = 0
    assert np.array_equal(after.pixel_array, expected)
    assert after.SOPInstanceUID != before.SOPInstanceUID


def test_the_exams_own_files_are_never_changed(tmp_path):
    untouched = write_small_exam(tmp_path / "untouched")
    exam, _ = build(tmp_path, areas((0, 0, 20, 9)), areas((0, 0, 20, 9)))
    for name in ("od-t3.png", "od-loop.avi"):
        digests = [hashlib.sha256((folder / name).read_bytes()).digest() for folder in (untouched, exam)]
        assert digests[0] == digests[1]


def test_other_areas_are_another_object(tmp_path):
    _, one = build(tmp_path / "one", areas((0, 0, 20, 9)))
    _, two = build(tmp_path / "two", areas((0, 0, 20, 8)))
    assert of(one, "transverse 3 o'clock").SOPInstanceUID != of(two, "transverse 3 o'clock").SOPInstanceUID


def test_a_masked_image_is_clean_for_an_outside_checker(tmp_path):
    """dciodvfy of dicom3tools: an independent reading of PS3.3."""
    build(tmp_path, areas((0, 0, 20, 9)), areas((0, 0, 20, 9)))
    found = sorted((tmp_path / "out").rglob("*.dcm"))
    assert len(found) == 5
    for path in found:
        assert verdict(path.read_bytes()).errors == frozenset(), path.name


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (areas((0, 0, 64, 9)), "an area with text reaches beyond the picture"),
        (areas((20, 0, 3, 9)), "the region ends before it begins"),
        ("    burned_in_text: {identifies_patient: yes, mask: yes}\n", "which areas are to be masked"),
        ("    burned_in_text: {regions: [{x0: 0, y0: 0, x1: 1, y1: 1}]}\n", "identifies_patient"),
    ],
)
def test_what_cannot_be_masked_is_held_and_the_rest_goes_on(tmp_path, said, words):
    exam = write_small_exam(tmp_path / "exam", DOCUMENT.replace(STILL, STILL + said))
    printed = " ".join(gateway("build", exam, "--out", tmp_path / "out", code=1).split())
    assert "captures[0]" in printed
    assert words.split()[-1] in printed
    assert len([p for p in (tmp_path / "out").rglob("*.dcm") if dcmread(p).Modality == "US"]) == 2
