"""SOP classes, transfer syntaxes and paired parts against the dictionaries of pydicom and highdicom."""

from __future__ import annotations

import json
from pathlib import Path

import highdicom
import pytest
from pydicom.uid import UID, AllTransferSyntaxes

from gateway.standard.paired_structures import is_paired_code, is_paired_term
from gateway.standard.sop_classes import ContentKind, Frames, sop_class, sop_class_name, sop_classes
from gateway.standard.transfer_syntaxes import (
    Loss,
    Stream,
    transfer_syntax,
    transfer_syntax_name,
    transfer_syntaxes,
)

NEWER_THAN_PYDICOM = {
    "1.2.840.10008.1.2.4.110",
    "1.2.840.10008.1.2.4.111",
    "1.2.840.10008.1.2.4.112",
    "1.2.840.10008.1.2.8.1",
}


@pytest.mark.parametrize("known", sop_classes().values(), ids=lambda known: known.uid)
def test_names_of_sop_classes_are_those_of_ps3_6(known):
    """Spelling of a few names changed between editions, so the words are compared without punctuation."""

    def words(name):
        return {word for word in name.lower().replace("-", " ").replace("/", " ").split() if word.isalnum()}

    name = UID(known.uid).name.replace("(Retired)", "")
    if name != known.uid:
        assert len(words(known.name) & words(name)) >= 2


@pytest.mark.parametrize(
    ("uid", "kind", "frames"),
    [
        ("1.2.840.10008.5.1.4.1.1.6.1", ContentKind.IMAGE, Frames.ONE),
        ("1.2.840.10008.5.1.4.1.1.3.1", ContentKind.IMAGE, Frames.MANY),
        ("1.2.840.10008.5.1.4.1.1.88.33", ContentKind.REPORT, Frames.NONE),
        ("1.2.840.10008.5.1.4.1.1.88.59", ContentKind.REPORT, Frames.NONE),
        ("1.2.840.10008.5.1.4.1.1.104.1", ContentKind.DOCUMENT, Frames.NONE),
        ("1.2.840.10008.5.1.4.1.1.11.1", ContentKind.PRESENTATION, Frames.NONE),
        ("1.2.840.10008.5.1.4.1.1.66.4", ContentKind.SEGMENTATION, Frames.MANY),
        ("1.2.840.10008.5.1.4.1.1.9.1.1", ContentKind.WAVEFORM, Frames.NONE),
    ],
)
def test_kinds_follow_from_the_modules_of_the_iod(uid, kind, frames):
    known = sop_class(uid)
    assert (known.kind, known.frames) == (kind, frames)


def test_an_unknown_uid_is_its_own_name():
    assert sop_class_name("1.2.3") == "1.2.3"
    assert transfer_syntax_name("1.2.3") == "1.2.3"
    assert sop_class_name("1.2.840.10008.5.1.4.1.1.6.1") == "Ultrasound Image Storage"
    assert transfer_syntax_name("1.2.840.10008.1.2.1") == "Explicit VR Little Endian"


@pytest.mark.parametrize("known", transfer_syntaxes().values(), ids=lambda known: known.uid)
def test_transfer_syntaxes_are_laid_out_as_pydicom_says(known):
    uid = UID(known.uid)
    if known.uid in NEWER_THAN_PYDICOM:
        assert uid.name in {known.uid, known.name}  # highdicom adds some of them to the dictionary
        return
    assert known.little_endian == uid.is_little_endian
    assert known.explicit_vr == (not uid.is_implicit_VR)
    if known.stream is not Stream.REFERENCED:  # pydicom calls one syntax only deflated, and these encapsulated
        assert known.deflated == uid.is_deflated
        assert known.encapsulated == uid.is_encapsulated


def test_all_transfer_syntaxes_of_pydicom_that_are_in_use_are_known():
    in_use = {str(uid) for uid in AllTransferSyntaxes}
    professional_video = {uid for uid in in_use if uid.startswith("1.2.840.10008.1.2.7")}
    assert in_use - professional_video - transfer_syntaxes().keys() == set()


@pytest.mark.parametrize(
    ("uid", "loss"),
    [
        ("1.2.840.10008.1.2.1", Loss.NEVER),
        ("1.2.840.10008.1.2.4.50", Loss.ALWAYS),
        ("1.2.840.10008.1.2.4.70", Loss.NEVER),
        ("1.2.840.10008.1.2.4.80", Loss.NEVER),
        ("1.2.840.10008.1.2.4.81", Loss.POSSIBLE),
        ("1.2.840.10008.1.2.4.102", Loss.ALWAYS),
        ("1.2.840.10008.1.2.5", Loss.NEVER),
    ],
)
def test_loss_is_what_ps3_5_annex_a_says(uid, loss):
    assert transfer_syntax(uid).loss is loss


def test_paired_parts_are_those_of_ps3_16_annex_l():
    """highdicom carries the table with its flag; a term is paired in one exactly if in the other."""
    path = Path(highdicom.__file__).parent / "_standard" / "anatomic_regions.json"
    for term, (_, code, _, paired) in json.loads(path.read_text()).items():
        assert is_paired_term(term) is paired
        if paired:
            assert is_paired_code(code)
    assert is_paired_term("EYE")
    assert not is_paired_code("80891009")  # heart
