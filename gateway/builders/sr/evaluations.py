"""What is said of the whole exam: reason, working diagnosis, cautions, lens and vitreous (PS3.16 TID 1500 row 12)."""

from __future__ import annotations

from gateway.builders.sr.content import Child, ContentItem, code, text
from gateway.builders.sr.scope import ReportScope, finding_site
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
