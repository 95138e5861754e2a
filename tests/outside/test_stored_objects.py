"""Completed DICOM objects before other people's programs: checkers, dumpers, decoders, readers.

The objects that come in are encoded by DCMTK (``dcmcjpeg``, ``dcmcrle``, ``dcmcjpls``, ``img2dcm``), so that what is
kept byte for byte is somebody else's work.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import highdicom
import numpy as np
import pytest
from PIL import Image
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.uid import (
    ImplicitVRLittleEndian,
    MultiFrameGrayscaleByteSecondaryCaptureImageStorage,
    MultiFrameGrayscaleWordSecondaryCaptureImageStorage,
    MultiFrameTrueColorSecondaryCaptureImageStorage,
    SecondaryCaptureImageStorage,
)

from gateway.model.calibration import Calibration
from gateway.model.capture import CorrectableAttribute
from gateway.validation import Severity, check_file
from tests.programs import require
from tests.unit.builders.completed_objects import Completed, completed
from tests.unit.intake.invented_objects import device_object, pixels, region, write_object

_WORD = {"RescaleIntercept": 0, "RescaleSlope": 1, "RescaleType": "US", "PresentationLUTShape": "IDENTITY"}
PLAIN = {
    "still": lambda: device_object(),  # noqa: PLW0108 - one form for all of them
    "implicit": lambda: device_object(syntax=ImplicitVRLittleEndian),
    "loop": lambda: device_object(5),
    "colour": lambda: device_object(colour=True),
    "regions": lambda: device_object(SequenceOfUltrasoundRegions=[region(), region()]),
    "latin": lambda: device_object(SpecificCharacterSet="ISO_IR 100", InstitutionalDepartmentName="Ögon"),
    "other patient": lambda: device_object(PatientID="OTHER", PatientName="O^T", ImageLaterality="L"),
    "capture": lambda: device_object(sop_class=SecondaryCaptureImageStorage),
    "capture, colour": lambda: device_object(sop_class=SecondaryCaptureImageStorage, colour=True),
    "capture, word": lambda: device_object(sop_class=SecondaryCaptureImageStorage, bits=16),
    "capture, byte frames": lambda: device_object(
        4, sop_class=MultiFrameGrayscaleByteSecondaryCaptureImageStorage, ConversionType="DV", **_WORD
    ),
    "capture, word frames": lambda: device_object(
        4, sop_class=MultiFrameGrayscaleWordSecondaryCaptureImageStorage, bits=16, ConversionType="DV", **_WORD
    ),
    "capture, colour frames": lambda: device_object(
        4, sop_class=MultiFrameTrueColorSecondaryCaptureImageStorage, colour=True, ConversionType="DV"
    ),
}
ENCODED = {
    "JPEG baseline": ["dcmcjpeg", "+eb"],
    "JPEG lossless": ["dcmcjpeg", "+e1"],
    "RLE": ["dcmcrle"],
    "JPEG-LS": ["dcmcjpls"],
    "JPEG-LS, near": ["dcmcjpls", "+en"],
}


def encoded(name: str, frames: int, *, colour: bool, folder: Path) -> Dataset:
    """An object as DCMTK encodes it."""
    program, *switches = ENCODED[name]
    plain = write_object(device_object(frames, colour=colour), folder / "plain.dcm")
    target = folder / "encoded.dcm"
    subprocess.run([require(program), *switches, str(plain), str(target)], check=True, capture_output=True)
    return dcmread(target)


def errors_of(path: Path) -> list[str]:
    """Return what dciodvfy (dicom3tools) calls errors."""
    result = subprocess.run([require("dciodvfy"), "-new", str(path)], capture_output=True, text=True, check=False)
    lines = (result.stdout + result.stderr).splitlines()
    assert any("Image" in line for line in lines), "dciodvfy gave no verdict"
    return [line for line in lines if line.startswith(("Error", "ABORT"))]


def assert_clean(done: Completed) -> None:
    assert [f for f in check_file(done.built.path).findings if f.severity is Severity.ERROR] == []
    assert errors_of(done.built.path) == []
    dump = subprocess.run([require("dcmdump"), "+L", str(done.built.path)], capture_output=True, text=True, check=True)
    assert not [line for line in dump.stderr.splitlines() if line.startswith(("W:", "E:"))]
    assert f"[{done.built.sop_instance_uid}]" in dump.stdout
    assert "(0020,0062) CS [R]" in dump.stdout
    assert "[109103]" in dump.stdout


@pytest.mark.parametrize("name", PLAIN)
def test_two_checkers_find_no_error_in_plain_objects(name, tmp_path):
    corrects = tuple(CorrectableAttribute) if name == "other patient" else ()
    scale = Calibration(0.1, 0.1) if name in {"regions", "capture"} else None
    assert_clean(completed(PLAIN[name](), tmp_path, *corrects, calibration=scale))


@pytest.mark.parametrize("name", ENCODED)
@pytest.mark.parametrize("colour", [False, True])
@pytest.mark.parametrize("frames", [1, 3])
def test_two_checkers_find_no_error_in_encapsulated_ones_and_the_fragments_are_the_same(name, colour, frames, tmp_path):
    done = completed(encoded(name, frames, colour=colour, folder=tmp_path), tmp_path)
    assert_clean(done)
    assert done.out.PixelData == done.source.PixelData
    assert done.out.file_meta.TransferSyntaxUID == done.source.file_meta.TransferSyntaxUID


@pytest.mark.parametrize("name", ["JPEG lossless", "RLE", "JPEG-LS"])
@pytest.mark.parametrize("colour", [False, True])
def test_what_is_shown_of_anothers_lossless_encoding_is_what_was_put_in(name, colour, tmp_path):
    done = completed(encoded(name, 3, colour=colour, folder=tmp_path), tmp_path)
    assert np.array_equal(np.stack(list(done.opened.frames())), pixels(3, colour=colour))


def test_a_lossy_encoding_is_shown_close_to_what_was_put_in(tmp_path):
    done = completed(encoded("JPEG baseline", 1, colour=False, folder=tmp_path), tmp_path)
    difference = next(done.opened.frames()).astype(int) - pixels(1)[0].astype(int)
    assert np.abs(difference).mean() < 5
    assert done.out.LossyImageCompression == "01"


@pytest.mark.parametrize("name", ["still", "colour", "JPEG baseline", "RLE"])
def test_another_toolkit_draws_the_same_picture_before_and_after(name, tmp_path):
    """DCMTK's dcmj2pnm, which reads all of these."""
    ds = PLAIN[name]() if name in PLAIN else encoded(name, 1, colour=False, folder=tmp_path)
    done = completed(ds, tmp_path)
    drawn = []
    for path in (tmp_path / "old" / "IM0001.dcm", done.built.path):
        picture = tmp_path / f"{len(drawn)}.png"
        subprocess.run([require("dcmj2pnm"), "+on", str(path), str(picture)], check=True, capture_output=True)
        drawn.append(np.asarray(Image.open(picture)))
    assert np.array_equal(*drawn)
    assert drawn[0].std() > 10


def test_a_picture_that_a_converter_wrapped_is_completed(tmp_path):
    """DCMTK's img2dcm makes a secondary capture of a JPEG file; of its bytes only the JFIF header is left out."""
    jpeg = tmp_path / "picture.jpg"
    Image.fromarray(pixels(1)[0]).save(jpeg, quality=90)
    wrapped = tmp_path / "wrapped.dcm"
    subprocess.run([require("img2dcm"), str(jpeg), str(wrapped)], check=True, capture_output=True)
    done = completed(dcmread(wrapped), tmp_path)
    assert_clean(done)
    assert done.out.PixelData == done.source.PixelData
    assert jpeg.read_bytes()[20:] in done.built.path.read_bytes()


@pytest.mark.parametrize("name", ["still", "loop", "implicit"])
def test_an_independent_library_reads_the_frames(name, tmp_path):
    """highdicom 0.28."""
    done = completed(PLAIN[name](), tmp_path)
    image = highdicom.imread(done.built.path)
    count = 5 if name == "loop" else 1
    for number in range(1, count + 1):
        assert np.array_equal(image.get_stored_frame(number), pixels(count)[number - 1])


def test_the_checker_does_see_errors(tmp_path):
    """Without this, a checker that sees nothing would pass for a clean object."""
    done = completed(PLAIN["still"](), tmp_path)
    done.out.Laterality = "R"
    done.out.save_as(tmp_path / "two.dcm")
    assert errors_of(tmp_path / "two.dcm")
