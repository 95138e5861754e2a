"""Whatever a device wrote beside what the exam states comes out again, and nothing of it goes missing."""

from __future__ import annotations

import string
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st
from pydicom.datadict import DicomDictionary, keyword_for_tag
from pydicom.dataset import Dataset
from pydicom.uid import ExplicitVRLittleEndian, ImplicitVRLittleEndian

from gateway.intake.dicom_structure import structure_of
from tests.unit.builders.completed_objects import completed, originals
from tests.unit.intake.invented_objects import device_object

_WORDS = st.text(st.sampled_from(string.ascii_letters + string.digits + " .-"), min_size=1, max_size=16).map(
    lambda text: text.strip() or "x"
)
_VALUES: dict[str, st.SearchStrategy[object]] = {
    "LO": _WORDS,
    "SH": _WORDS,
    "ST": _WORDS,
    "LT": _WORDS,
    "UT": _WORDS,
    "US": st.integers(0, 65535),
    "UL": st.integers(0, 2**32 - 1),
    "FD": st.floats(allow_nan=False, allow_infinity=False),
    "IS": st.integers(-(2**31), 2**31 - 1).map(str),
    "DA": st.dates().map(lambda day: f"{day:%Y%m%d}".zfill(8)),
    "UI": st.integers(1, 10**20).map(lambda number: f"1.2.{number}"),
    "OB": st.binary(min_size=2, max_size=40).map(lambda data: data + b"\0" * (len(data) % 2)),
}
_CONTRADICTING = {"PatientBirthDate", "AcquisitionDate", "DepthOfScanField", "IssuerOfPatientID", "PatientID"}
_STRUCTURAL = 0x0028  # Image Pixel: these describe the pixels themselves
_ATTRIBUTES = sorted(
    tag
    for tag, (vr, vm, _name, retired, keyword) in DicomDictionary.items()
    if vr in _VALUES and vm == "1" and keyword and not retired and keyword not in _CONTRADICTING
    if tag >> 16 not in {0, 2, 4, _STRUCTURAL, 0x7FE0, 0xFFFE} and tag & 0xFFFF and tag != 0x00080001
)


@st.composite
def _attributes(draw: st.DrawFn) -> Dataset:
    ds = Dataset()
    for tag in draw(st.lists(st.sampled_from(_ATTRIBUTES), max_size=12, unique=True)):
        vr = DicomDictionary[tag][0]
        ds.add_new(tag, vr, draw(_VALUES[vr]))
    for number in draw(st.lists(st.integers(0x10, 0xFF), max_size=3, unique=True)):
        group = draw(st.sampled_from([0x0009, 0x0029, 0x7FE1]))
        ds.add_new(group << 16 | number, "LO", f"BLOCK {number}")
        ds.add_new(group << 16 | number << 8 | 1, "UN", draw(st.binary(max_size=30)))
    return ds


@settings(max_examples=60, deadline=None)
@given(_attributes(), st.sampled_from([ExplicitVRLittleEndian, ImplicitVRLittleEndian]))
def test_random_attributes_survive(attributes, syntax):
    ds = device_object(syntax=syntax)
    for element in attributes:
        if element.tag not in ds:
            ds.add(element)
    with TemporaryDirectory() as folder:
        done = completed(ds, Path(folder))
        files = Path(folder) / "old" / "IM0001.dcm", done.built.path
        before, after = (_elements(path.read_bytes()) for path in files)
        kept = originals(done.out, "COERCE")
        appended = {"ContributingEquipmentSequence", "OriginalAttributesSequence", "ImageComments"}
        for tag, data in before.items():
            element = done.source[tag]
            if keyword_for_tag(tag) in appended or element.is_empty:
                continue
            assert after.get(tag) == data or kept.get(tag) == element or done.out.get(tag) == element, element.tag
        assert after[0x7FE00010] == before[0x7FE00010]


def _elements(data: bytes) -> dict[int, bytes]:
    structure = structure_of(data, "x")
    return {span.tag: bytes(data[span.start : span.end]) for span in structure.elements}
