"""Groups: one for each finding or measured structure of one eye (PS3.16 TID 1501, and TID 2120 rows 1 to 6).

The finding site of every group is the eye with its laterality; the structure stands at the measurement or finding, the
zone is the one topographical modifier, the clock hour a code in the group.

A negative statement must not be taken for a positive one by any reader. So only what is present appears as value of
Finding; what is absent, undetermined or not shown is the *name* of an evaluation whose value says so, and its label
begins with it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from gateway.builders.sr.content import Child, ContentItem, code, container, contains, modifier, text
from gateway.builders.sr.image_library import clock_code
from gateway.builders.sr.measurement import measurement_items
from gateway.builders.sr.reflectivity import echo_item
from gateway.builders.sr.scope import ReportScope, finding_site
from gateway.errors.document import EyeContradictionError
from gateway.model.a_scan import StructureEcho
from gateway.model.coded import TextOrCode
from gateway.model.exam import MeasuredExam
from gateway.model.finding import Finding, Presence
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasuredValue
from gateway.standard.codes import CodedConcept, concept

_BEARS_MEASUREMENTS = frozenset({Presence.PRESENT, Presence.UNDETERMINED})


@dataclass(frozen=True, slots=True)
class Group:
    """What belongs together: a finding with its measurements, or the measurements of one structure of one eye."""

    eye: Eye
    key: str
    label: str
    finding: Finding | None
    values: tuple[MeasuredValue, ...]
    echoes: tuple[StructureEcho, ...] = ()

    @property
    def capture_ids(self) -> tuple[str, ...]:
        """Captures behind the group, each once."""
        of_finding = self.finding.capture_ids if self.finding else ()
        of_values = [value.measurement.capture_id for value in self.values]
        return tuple(dict.fromkeys((*of_finding, *of_values, *(echo.capture_id for echo in self.echoes))))


def groups_of(measured: MeasuredExam) -> tuple[Group, ...]:
    """Gather findings and measurements: findings first, in the exam's order, then measured structures.

    A measurement of something that is said to be absent or not shown is not put under that negative statement.
    """
    bearing = {f.id: f for f in measured.exam.findings if f.presence in _BEARS_MEASUREMENTS}
    of_finding: dict[str, list[MeasuredValue]] = {}
    of_structure: dict[tuple[Eye, str], list[MeasuredValue]] = {}
    for value in measured.values:
        measurement = value.measurement
        if measurement.finding_id in bearing:
            of_finding.setdefault(measurement.finding_id, []).append(value)
        else:
            eye = measured.exam.capture(measurement.capture_id).eye
            of_structure.setdefault((eye, measurement.structure), []).append(value)
    echoes: dict[tuple[Eye, str], list[StructureEcho]] = {}
    for echo in measured.echoes:
        place = measured.exam.capture(echo.capture_id).eye, echo.structure
        of_structure.setdefault(place, [])
        echoes.setdefault(place, []).append(echo)
    groups = [
        Group(f.eye, f"finding {f.id}", _finding_label(f), f, tuple(of_finding.get(f.id, ())))
        for f in measured.exam.findings
    ]
    for (eye, structure), values in of_structure.items():
        label = f"{eye.value} eye, {structure.replace('-', ' ')}" if structure else f"{eye.value} eye"
        of_echoes = tuple(echoes.get((eye, structure), ()))
        groups.append(Group(eye, f"structure {eye.value} {structure}", label, None, tuple(values), of_echoes))
    return tuple(groups)


def _finding_label(finding: Finding) -> str:
    return f"{finding.eye.value} eye, {_with_presence(finding)} ({finding.id})"


def _with_presence(finding: Finding) -> str:
    words = finding.what.words
    return words if finding.presence is Presence.PRESENT else f"{finding.presence.value.replace('-', ' ')}: {words}"


def group_item(group: Group, scope: ReportScope) -> ContentItem:
    """Return the group as content.

    Raises
    ------
    EyeContradictionError
        If a capture behind the group shows the other eye.
    """
    for capture_id in group.capture_ids:
        if scope.image(capture_id).capture.eye is not group.eye:
            raise EyeContradictionError(
                "a finding and its capture name different eyes",
                where=f"{group.key}, capture {capture_id}",
                fix="mend one of them",
            )
    finding = group.finding
    zone = concept("zone", finding.zone.value) if finding is not None and finding.zone is not None else None
    children = [
        *scope.tracking(group.label, group.key, finding.tracking_uid if finding is not None else ""),
        finding_site("eye", group.eye, zone),
        *(_finding_items(finding, scope) if finding is not None else ()),
        *(item for value in group.values for item in measurement_items(value, scope)),
        *(contains(echo_item(echo, group.eye, scope)) for echo in group.echoes),
        *_remarks(group, scope),
        *_source_images(group.capture_ids, scope),
    ]
    origin = f"findings {finding.id}" if finding is not None else "rule: measurements of one structure form a group"
    item = container(concept("sr", "measurement-group"), *children, template="1501")
    return ContentItem(item.name, item.value, item.children, origin=origin)


def _finding_items(finding: Finding, scope: ReportScope) -> tuple[Child, ...]:
    site = (finding_site(finding.structure, finding.eye),) if finding.structure else ()
    items = _coded(finding, finding.what.code, site) if finding.what.code else _in_words(finding, site)
    if finding.clock_hour is not None:
        clock = clock_code(finding.clock_hour.four_digits, scope)
        items.append(code(concept("sr", "clockface-or-region"), clock))
    return tuple(contains(item) for item in items)


def _coded(finding: Finding, what: CodedConcept, site: tuple[Child, ...]) -> list[ContentItem]:
    if finding.presence is Presence.PRESENT:
        words = _examiners_words(finding.what, "equivalent-meaning-of-value")
        return [code(concept("sr", "finding"), what, *words, *site)]
    words = _examiners_words(finding.what, "equivalent-meaning")
    return [code(what, concept("presence", finding.presence.value), *words, *site)]


def _examiners_words(what: TextOrCode, name: str) -> tuple[Child, ...]:
    """Return the examiner's own words for a code, where they are others than its meaning."""
    if not what.text or what.code is None or what.text.lower() == what.code.meaning.lower():
        return ()
    return (modifier(text(concept("sr", name), what.text)),)


def _in_words(finding: Finding, site: tuple[Child, ...]) -> list[ContentItem]:
    """Return a finding without a code: its presence as a code, and its words, which begin with the presence."""
    return [
        code(concept("sr", "finding-presence"), concept("presence", finding.presence.value)),
        text(concept("sr", "comment"), _with_presence(finding), *site),
    ]


def _remarks(group: Group, scope: ReportScope) -> tuple[Child, ...]:
    name = concept("sr", "comment")
    children = []
    if group.finding is not None and group.finding.comment:
        children.append(contains(text(name, group.finding.comment)))
    if group.finding is None:
        for value in group.values:
            measurement = value.measurement
            if measurement.finding_id:
                words = (
                    f"measurement {measurement.id} is stated to belong to finding {measurement.finding_id}, which "
                    f"{_why_apart(measurement.finding_id, scope)}"
                )
                children.append(contains(scope.own_words(name, words)))
    return tuple(children)


def _why_apart(finding_id: str, scope: ReportScope) -> str:
    for finding in scope.exam.findings:
        if finding.id == finding_id:
            return f"the exam says is {finding.presence.value.replace('-', ' ')}"
    return "is not part of this report"


def _source_images(capture_ids: Iterable[str], scope: ReportScope) -> tuple[Child, ...]:
    purpose = concept("sr", "source")
    return tuple(contains(ContentItem(purpose, scope.image(capture_id).reference())) for capture_id in capture_ids)
