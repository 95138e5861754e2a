"""Whether an eye, or a finding, was completely examined by the rule sets of the protocol that the exam names.

Protocols differ, so a judgement always names the rule set behind it, and says what is missing rather than what was
seen. Nothing here says anything about the state of the eye.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gateway.model.capture import Capture, CaptureKind
from gateway.model.exam import Exam
from gateway.model.finding import Finding, Presence
from gateway.model.laterality import Eye
from gateway.model.measurement import Measurement
from gateway.model.protocol import Judged, Need, Protocol, ProtocolStep, RuleSet
from gateway.standard.codes import find_concept


@dataclass(frozen=True, slots=True)
class Judgement:
    """What one rule set says of one eye, or of one finding.

    Parameters
    ----------
    subject : str
        What is judged where it is not the whole eye, e.g. ``mass (f1)``.
    missing : tuple of str
        What the rule set needs and the exam does not have; empty where it is complete.
    """

    eye: Eye
    subject: str
    protocol: str
    rule_set: str
    source: str
    missing: tuple[str, ...]

    @property
    def is_complete(self) -> bool:
        """Whether nothing that the rule set needs is missing."""
        return not self.missing

    @property
    def words(self) -> str:
        """The judgement as one line, with the rule set that judged."""
        of = f"{self.subject}: " if self.subject else ""
        verdict = "complete" if self.is_complete else f"incomplete, missing: {'; '.join(self.missing)}"
        return f"{of}{verdict} (by {self.rule_set} of {self.protocol})"


def judgements_of(exam: Exam) -> tuple[Judgement, ...]:
    """Judge each examined eye and each finding by every rule set of the exam's protocol; nothing without one."""
    protocol = exam.session.protocol
    if protocol is None:
        return ()
    return tuple(found for rule_set in protocol.rule_sets for found in _judged(exam, protocol, rule_set))


def _judged(exam: Exam, protocol: Protocol, rule_set: RuleSet) -> Iterator[Judgement]:
    def judgement(eye: Eye, subject: str, captures: Sequence[Capture], measured: Sequence[Measurement]) -> Judgement:
        needs = [need for need in rule_set.needs if need.eye in {None, eye}]
        missing = tuple(_missing_words(n, captures) for n in needs if not _is_met(n, captures, measured, exam))
        return Judgement(eye, subject, protocol.name, rule_set.name, rule_set.source, missing)

    if rule_set.judges is Judged.EYE:
        for eye in Eye:
            captures = [capture for capture in exam.captures if capture.eye is eye]
            ids = {capture.id for capture in captures}
            if captures:
                yield judgement(eye, "", captures, [m for m in exam.measurements if m.capture_id in ids])
        return
    for finding in exam.findings:
        if finding.presence is Presence.PRESENT and _is_judged(finding, rule_set):
            captures = [capture for capture in exam.captures if capture.id in finding.capture_ids]
            measured = [m for m in exam.measurements if m.finding_id == finding.id]
            yield judgement(finding.eye, f"{finding.what.words} ({finding.id})", captures, measured)


def _is_judged(finding: Finding, rule_set: RuleSet) -> bool:
    """Whether a finding is of the kinds that a rule set judges: by its code, or by the same word without one."""
    if finding.what.code is None:
        return finding.what.text in {word.replace("-", " ") for word in rule_set.findings}
    return finding.what.code in [find_concept("finding", word) for word in rule_set.findings]


def _is_met(need: Need, captures: Sequence[Capture], measured: Sequence[Measurement], exam: Exam) -> bool:
    if need.measurement is not None:
        on = [exam.capture(m.capture_id) for m in measured if m.kind is need.measurement]
        return any(_is_at(capture, need) for capture in on)
    fitting = [capture for capture in captures if _is_at(capture, need)]
    if not need.stills_in_each:
        return bool(fitting)
    if any(capture.kind is CaptureKind.LOOP for capture in fitting):
        return True
    shown = {capture.position.zone for capture in fitting}
    return all(shown & set(group) for group in need.stills_in_each)


def _missing_words(need: Need, captures: Sequence[Capture]) -> str:
    """Name what is missing; where stills are there and do not reach far enough, say where they are."""
    stills = [capture for capture in captures if _is_at(capture, need)] if need.stills_in_each else []
    if not stills:
        return need.words
    zones = dict.fromkeys(capture.position.zone.words if capture.position.zone else "no depth" for capture in stills)
    return f"{need.words}: no loop, and stills state {' and '.join(zones)} alone"


def _is_at(capture: Capture, need: Need) -> bool:
    position = capture.position
    return need.scan in {None, position.scan} and need.clock_hour in {None, position.clock_hour}


def missing_steps(exam: Exam, eye: Eye) -> tuple[ProtocolStep, ...]:
    """Return the required steps of the exam's protocol of which this eye has no capture."""
    protocol = exam.session.protocol
    captures = [capture for capture in exam.captures if capture.eye is eye]
    if protocol is None or not captures:
        return ()
    required = [step for step in protocol.steps if step.is_required and step.eye in {None, eye}]
    return tuple(step for step in required if not any(_takes(capture, step) for capture in captures))


def _takes(capture: Capture, step: ProtocolStep) -> bool:
    """Whether a capture is one of this step: by its name, or by where it was taken."""
    if capture.protocol_step:
        return capture.protocol_step == step.id
    position = capture.position
    return (
        position.scan is step.scan
        and step.clock_hour in {None, position.clock_hour}
        and step.kind in {None, capture.kind}
        and (not step.zones or position.zone in step.zones)
    )
