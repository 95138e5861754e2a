"""Setting parts of an exam aside: what rests on a held part is held with it, and nothing disappears silently."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence

from gateway.errors.document import DependsOnHeldPartError
from gateway.model.exam import Exam, HeldPart


def hold_captures(exam: Exam, held: Sequence[HeldPart]) -> tuple[Exam, tuple[HeldPart, ...]]:
    """Take captures out of an exam, and with them whatever cannot stand without them.

    Measurements and annotations on a held capture are held. A finding stays as long as one of its captures does; a
    measurement of a finding that is held stays, as one of its structure alone.

    Parameters
    ----------
    held : sequence of HeldPart
        Parts whose `name` is a capture id; others are passed through untouched.

    Returns
    -------
    exam : Exam
        Without the held captures and what depended on them.
    held : tuple of HeldPart
        The given parts, then the dependent ones.
    """
    names = {part.name for part in held if part.part.startswith("captures[")}
    dependent: list[HeldPart] = []

    def rests_on_held(part: str, name: str, captures: Iterable[str]) -> bool:
        missing = sorted(set(captures) & names)
        if not missing:
            return False
        place = exam.origins.get(part)
        reason = DependsOnHeldPartError(
            "rests on a capture that is held",
            where=place or part,
            was=", ".join(missing),
            fix="mend that capture first",
        )
        dependent.append(HeldPart(place.field if place else part, name, reason))
        return True

    measurements = tuple(
        m for m in exam.measurements if not rests_on_held(f"measurements {m.id}", m.id, [m.capture_id])
    )
    annotations = tuple(
        a for a in exam.annotations if not rests_on_held(f"annotations on {a.capture_id}", a.text, [a.capture_id])
    )
    findings = []
    for finding in exam.findings:
        shown = tuple(c for c in finding.capture_ids if c not in names)
        if finding.capture_ids and not shown:
            rests_on_held(f"findings {finding.id}", finding.id, finding.capture_ids)
        else:
            findings.append(dataclasses.replace(finding, capture_ids=shown))
    left = {finding.id for finding in findings}
    # A measurement outlives its finding where its own capture is good: the number is still true of its place.
    measurements = tuple(m if m.finding_id in left else dataclasses.replace(m, finding_id="") for m in measurements)
    kept = dataclasses.replace(
        exam,
        captures=tuple(c for c in exam.captures if c.id not in names),
        measurements=measurements,
        annotations=annotations,
        findings=tuple(findings),
    )
    return kept, (*held, *dependent)
