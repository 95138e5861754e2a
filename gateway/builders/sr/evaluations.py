"""What is said of the whole exam: reason, diagnosis, cautions, lens, vitreous, coverage (PS3.16 TID 1500 row 12)."""

from __future__ import annotations

from dataclasses import replace

from gateway.builders.sr.content import Child, ContentItem, code, modifier, text
from gateway.builders.sr.scope import ReportScope, finding_site
from gateway.coverage.chart import coverage_lines, coverage_of
from gateway.coverage.completeness import Judgement, judgements_of
from gateway.model.coded import TextOrCode
from gateway.model.laterality import Eye
from gateway.standard.codes import concept


def qualitative_evaluations(scope: ReportScope) -> tuple[ContentItem, ...]:
    """Return the evaluations that the exam states, in the order in which a reader should meet them."""
    exam = scope.exam
    return (
        *_text_or_code("indications-for-procedure", exam.order.indication, "order.indication"),
        *_text_or_code("working-diagnosis", exam.order.working_diagnosis, "order.working_diagnosis"),
        *(scope.own_words(concept("sr", "caution"), caution.words, origin="cautions") for caution in exam.cautions),
        *(item for eye in Eye for item in _eye_as_found(eye, scope)),
        *_protocol(scope),
        *(item for eye in Eye for item in _coverage(eye, scope)),
        *(item for judgement in judgements_of(exam) for item in _judgement(judgement, scope)),
    )


def _text_or_code(name: str, said: TextOrCode | None, origin: str) -> list[ContentItem]:
    """Return what was said in words always, and as a code beside it where there is one."""
    if said is None:
        return []
    items = [text(concept("sr", name), said.words, origin=origin)]
    if said.code is not None:
        items.append(code(concept("sr", name), said.code, origin=origin))
    return items


def _eye_as_found(eye: Eye, scope: ReportScope) -> list[ContentItem]:
    """Return each lens and vitreous status that captures of this eye state."""
    captures = [capture for capture in scope.exam.captures if capture.eye is eye]
    site: Child = finding_site("eye", eye)
    lenses = dict.fromkeys(c.lens for c in captures if c.lens is not None)
    vitreous = dict.fromkeys(c.vitreous for c in captures if c.vitreous is not None)
    return [
        *(code(concept("sr", "lens-status"), concept("lens_status", status.value), site) for status in lenses),
        *(
            code(concept("sr", "vitreous-status"), concept("vitreous_status", status.value), site)
            for status in vitreous
        ),
    ]


def _protocol(scope: ReportScope) -> list[ContentItem]:
    protocol = scope.exam.session.protocol
    if protocol is None:
        return []
    return [text(concept("sr", "protocol"), f"{protocol.name}: {protocol.words}", origin="session.protocol")]


def _coverage(eye: Eye, scope: ReportScope) -> list[ContentItem]:
    """Return which parts of an eye the pictures show; of the rest it says that it was not shown, and no more."""
    lines = coverage_lines(coverage_of(scope.exam, eye))
    if not lines:
        return []
    item = scope.own_words(
        concept("sr", "coverage"), "\n".join(lines), origin="rule: coverage of the captures' positions"
    )
    return [replace(item, children=(*item.children, finding_site("eye", eye)))]


def _judgement(judgement: Judgement, scope: ReportScope) -> list[ContentItem]:
    """Return whether a rule set calls the examination complete, with the rule set and what it misses."""
    origin = f"rule: {judgement.rule_set} of protocol {judgement.protocol}"
    site = finding_site("eye", judgement.eye)
    rules = scope.own_words(
        concept("sr", "rule-set"), f"{judgement.rule_set} of {judgement.protocol}: {judgement.source}"
    )
    subject = (modifier(text(concept("sr", "comment"), judgement.subject)),) if judgement.subject else ()
    verdict = concept("completeness", "complete" if judgement.is_complete else "incomplete")
    below = (site, modifier(rules), *subject)
    items = [code(concept("sr", "completeness"), verdict, *below, origin=origin)]
    if judgement.missing:
        missing = scope.own_words(concept("sr", "not-complete-for"), "\n".join(judgement.missing), origin=origin)
        items.append(replace(missing, children=(*missing.children, site, modifier(rules), *subject)))
    return items
