"""Planted contradictions of eyes over all pairs of sources: every one is held, and both its places are named.

Right and left are told by seven kinds of sources; each pair is planted in five ways, 105 in all. The same folder with
agreeing sources goes through, so that what is held is held for the contradiction.
"""

from __future__ import annotations

import itertools
import json
from dataclasses import dataclass

import pytest

from gateway.errors.document import ExamDocumentError, EyeContradictionError
from gateway.errors.mapping import EyeSourcesContradictError
from gateway.mapping.exam_document import MappedExam, map_exam_document
from gateway.mapping.located.records import RecordKind, RecordOptions, record_from
from gateway.mapping.sources.engine import apply_mapping
from gateway.mapping.sources.files import MediaItem, RecordFile, SourceFiles
from gateway.model.capture import CaptureKind
from tests.unit.mapping.sources.conftest import HEAD, csv_file, source_mapping

KINDS = ["record", "file name", "folder name", "order", "device attribute", "protocol place", "person"]
WORDS = [("OD", "OS"), ("re", "li"), ("R", "L"), ("right", "left"), ("rechts", "links")]
SOURCES = {
    "record": "{record: list, field: eye}",
    "file name": "{file_name: eye}",
    "folder name": "{folder_name: eye}",
    "order": "{order: OBX-5}",
    "device attribute": "{dicom: ImageLaterality}",
    "person": "{record: seen, field: eye, said_by: by}",
}
TERMS = ", ".join(f"{right}: right, {left}: left" for right, left in WORDS)
MAPPING = (
    HEAD
    + """\
records:
  - {id: list, file: list.csv, kind: csv, rows: {per: capture}, match: {field: file, to: file-stem}}
  - {id: seen, file: seen.csv, kind: csv, rows: {per: capture}, match: {field: file, to: file-stem}}
  - {id: ord, file: order.hl7, kind: hl7, rows: {per: exam}}
media: {files: "*.dcm", names: "{eye}-{number:digits}.dcm"}
folder: "{eye}-visit-{*}"
terms: {eyes: {%s}}
rules:
  - {to: patient.id, from: {order: PID-3.1}}
  - {to: patient.issuer, from: {constant: INVENTED}}
  - {to: patient.name, from: {order: "PID-5:name"}}
  - {to: session.start, from: {constant: "2026-03-02T09:30:00+01:00"}}
  - {to: session.protocol, from: {constant: five-sweep-screening}}
  - {to: captures.protocol_step, from: {record: list, field: step}}
  - {to: captures.scan, from: {record: list, field: scan}}
  - {to: captures.eye, from: [%s], with: {terms: eyes}}
"""
)
HL7 = "MSH|^~\\&|A|B|C|D|20260302||ORM^O01|1|P|2.5.1\rPID|1||N-1||Holm^Maija\r"
PLACES = {
    "record": "list.csv:2:",
    "file name": "{file}",
    "folder name": "{folder}",
    "order": "order.hl7:3:13",
    "device attribute": "{file}",
    "protocol place": "five-sweep-screening.yaml",
    "person": "seen.csv:2:",
}


@dataclass(frozen=True)
class Planted:
    """Two sources, and what each says (0 right, 1 left), in the words of one language."""

    first: str
    second: str
    says: tuple[int, int]
    words: tuple[str, str]

    def word(self, kind: str) -> str:
        return self.words[self.says[(self.first, self.second).index(kind)]] if self.has(kind) else self.words[0]

    def has(self, kind: str) -> bool:
        return kind in {self.first, self.second}

    @property
    def file(self) -> str:
        return f"{self.word('file name')}-1.dcm"

    @property
    def folder(self) -> str:
        return f"{self.word('folder name')}-visit-1"


PAIRS = list(itertools.combinations(KINDS, 2))
PLANTED = [
    Planted(*(pair if number % 2 else pair[::-1]), says=(number // 2 % 2, 1 - number // 2 % 2), words=words)
    for pair in PAIRS
    for number, words in enumerate(WORDS)
]


def exam_of(planted: Planted) -> MappedExam:
    others = [kind for kind in (planted.first, planted.second) if kind != "protocol place"]
    mapping = source_mapping(MAPPING % (TERMS, ", ".join(SOURCES[kind] for kind in others)))
    stem = planted.file.removesuffix(".dcm")
    if planted.has("protocol place"):
        says = planted.says[(planted.first, planted.second).index("protocol place")]
        step, scan = ("L9", "L3")[says], ""
    else:
        step, scan = "", "macula"
    rows = csv_file(f"file,eye,step,scan\n{stem},{planted.word('record')},{step},{scan}\n")
    seen = csv_file(f"file,eye,by\n{stem},{planted.word('person')},Lind^Tove\n", "seen.csv")
    message = HL7 + f"OBX|1|ST|E||{planted.word('order')}\r"
    order = RecordFile("order.hl7", record_from(message.encode(), "order.hl7", RecordOptions(RecordKind.HL7)))
    attributes = json.dumps({"ImageLaterality": planted.word("device attribute")}).encode()
    device = record_from(attributes, planted.file, RecordOptions(RecordKind.JSON))
    media = (MediaItem(planted.file, CaptureKind.STILL, device),)
    records = {"list": (rows,), "seen": (seen,), "ord": (order,)}
    (source,) = apply_mapping(mapping, SourceFiles(planted.folder, media, records))
    return map_exam_document(source.document, source.key)


def reason_of(planted: Planted) -> Exception:
    with pytest.raises(ExamDocumentError) as caught:
        exam_of(planted)
    (reason,) = [problem for problem in caught.value.problems if problem.code != "no-capture-left"]
    return reason


def test_there_are_a_hundred_of_them_and_every_pair_is_among_them() -> None:
    assert len(PLANTED) >= 100
    assert {frozenset((each.first, each.second)) for each in PLANTED} == {frozenset(pair) for pair in PAIRS}
    assert len(PAIRS) == 21
    assert {each.says for each in PLANTED} == {(0, 1), (1, 0)}


@pytest.mark.parametrize("planted", PLANTED, ids=lambda p: f"{p.first}-{p.second}-{p.words[p.says[0]]}")
def test_a_planted_contradiction_is_held_and_both_places_are_named(planted: Planted) -> None:
    reason = reason_of(planted)
    assert isinstance(reason, EyeSourcesContradictError | EyeContradictionError)
    text = str(reason)
    for kind in (planted.first, planted.second):
        assert PLACES[kind].format(file=planted.file, folder=planted.folder) in text, kind
    assert "right" in text
    assert "left" in text


@pytest.mark.parametrize("pair", PAIRS, ids="-".join)
def test_the_same_sources_in_agreement_go_through(pair: tuple[str, str]) -> None:
    exam = exam_of(Planted(*pair, says=(1, 1), words=("OD", "OS")))
    assert exam.held == ()
    assert exam.exam.captures[0].eye.value == "left"
