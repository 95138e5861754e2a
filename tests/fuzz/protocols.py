"""Protocol files, and exams that name witnesses, steps and sweeps, as far as the chart that is drawn of them."""

from __future__ import annotations

from pathlib import Path

from gateway.coverage.chart import coverage_lines, coverage_of
from gateway.coverage.completeness import judgements_of
from gateway.mapping.exam_document import map_exam_document
from gateway.mapping.located.file import decoded
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.located.yaml_reader import read_yaml
from gateway.mapping.protocols import protocol_in
from gateway.mapping.witnesses import hold_unsettled_eyes
from gateway.model.laterality import Eye
from gateway.model.witness import ledger_words
from gateway.reports.coverage import coverage_text
from gateway.shipped import shipped_path
from tests.fuzz.target import Target

_DOCUMENT = Path(__file__).parents[1] / "unit" / "mapping" / "documents" / "witnesses-and-protocol.yaml"


def _located(content: bytes) -> LocatedDocument:
    return LocatedDocument("fuzzed.yaml", read_yaml(decoded(content, "fuzzed.yaml"), "fuzzed.yaml"))


def _exam(content: bytes) -> None:
    exam, _ = hold_unsettled_eyes(map_exam_document(_located(content), "fuzzed").exam)
    for capture in exam.captures:
        assert ledger_words(capture.eye_witnesses)
        assert all(witness.eye is capture.eye for witness in capture.eye_witnesses)
    for eye in Eye:
        coverage_lines(coverage_of(exam, eye))
        coverage_text(exam, eye)
    assert all(judgement.words for judgement in judgements_of(exam))


PROTOCOL = Target(
    lambda: [path.read_bytes() for path in sorted(shipped_path("mappings/protocols").glob("*.yaml"))],
    lambda content: protocol_in(_located(content)),
    (b"eye: right", b"eye: both", b"clock_hour: 12.5", b"judges: finding", b"zones: []", b"kind: loop", b"scan: other"),
    largest=16384,
)
WITNESSED_EXAM = Target(
    lambda: [_DOCUMENT.read_bytes()],
    _exam,
    (
        b"eye: left",
        b"eye: right",
        b"protocol_step: L3",
        b"swept: yes",
        b"source: order",
        b"at: a.png",
        b"zone: equator",
    ),
    largest=16384,
)
