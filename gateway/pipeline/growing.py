"""Studies that grow: which number a capture has for ever, which instance holds, which report replaces which.

A study is known by its UID, a visit in it by its session, a capture by its id within the visit. What was queued once is
never renumbered. Everything here is decided from what the store holds, so the same exam in the same state gives the
same objects, and nothing is written before objects are queued.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import sqlalchemy as sa

from gateway.builders.options import Predecessor, ReportVersion
from gateway.errors.growing import CaptureLeftOutError, SameCaptureTwiceError, SamePictureTwoEyesError
from gateway.errors.patients import StudyOfAnotherPatientError
from gateway.model.capture import Capture
from gateway.model.destination_override import DestinationOverride
from gateway.model.exam import Exam, HeldPart
from gateway.model.media import FrameSource
from gateway.pipeline.store import Store, deliveries, report_versions, studies, study_captures

_ARRIVED = ("sent", "committed", "listed")


def session_key(exam: Exam) -> str:
    """Return what one visit of a study is known by."""
    session = exam.session
    device = session.device
    facts = [session.start.astimezone(UTC).isoformat(), device.maker, device.model, device.serial, session.visit]
    return hashlib.sha256(json.dumps(facts).encode()).hexdigest()[:16]


def variant_key(overrides: Sequence[DestinationOverride]) -> str:
    """Return what tells a destination's variant from the plain one, which is the empty text."""
    said = sorted((override.attribute, override.value) for override in overrides)
    return hashlib.sha256(json.dumps(said).encode()).hexdigest() if said else ""


def source_of(capture: Capture, media: FrameSource) -> str:
    """Return what a capture was made from: the digest of its source and the frames that are kept of it."""
    kept = f":{capture.kept.first}-{capture.kept.last}" if capture.kept else ""
    page = f" page {capture.page}" if capture.page else ""
    return media.facts.source_sha256 + kept + page


@dataclass(frozen=True, slots=True)
class KnownCapture:
    """A capture that was queued earlier."""

    session_key: str
    capture_id: str
    instance_number: int
    source: str


@dataclass(frozen=True, slots=True)
class KnownStudy:
    """What the store knows of a study before this hand-over.

    Parameters
    ----------
    session_key : str
        Of the visit that is handed over.
    started : datetime or None
        When the study's first session began; None where this is the first hand-over, or of that session.
    captures : tuple of KnownCapture
        Of all its visits.
    order_has_other_studies : bool
        The same patient has another study under the same accession number.
    """

    session_key: str
    started: datetime | None
    captures: tuple[KnownCapture, ...]
    order_has_other_studies: bool

    def numbers(self, captures: Sequence[Capture]) -> Mapping[str, int]:
        """Return the Instance Number of each capture by its id.

        One that was queued keeps its number. Another takes its place in the document, unless a capture of this study
        has that number; then the next ones after all that are taken, in the document's order.
        """
        mine = {known.capture_id: known.instance_number for known in self.captures if self._is_mine(known)}
        numbers = {capture.id: mine[capture.id] for capture in captures if capture.id in mine}
        taken = {known.instance_number for known in self.captures}
        late = []
        for place, capture in enumerate(captures, start=1):
            wanted = capture.number or place
            if capture.id in numbers:
                continue
            if wanted in taken:
                late.append(capture)
            else:
                numbers[capture.id] = wanted
                taken.add(wanted)
        for capture in late:
            numbers[capture.id] = max(taken) + 1
            taken.add(numbers[capture.id])
        return numbers

    def repeated(self, exam: Exam, media: Mapping[str, FrameSource]) -> tuple[HeldPart, ...]:
        """Return the captures that are another capture's picture or movie once more, each with both names."""
        by_source: dict[str, list[Capture]] = {}
        for capture in exam.captures:
            by_source.setdefault(source_of(capture, media[capture.id]), []).append(capture)
        known_ids = {known.capture_id for known in self.captures if self._is_mine(known)}
        held = []
        for source, group in by_source.items():
            if len({capture.eye for capture in group}) > 1:
                held += [self._held(exam, c, group, SamePictureTwoEyesError) for c in group]
                continue
            earlier = [known for known in self.captures if known.source == source]
            held += self._all_but_one(exam, group, earlier, known_ids)
        return tuple(sorted(held, key=lambda part: [c.id for c in exam.captures].index(part.name)))

    def _all_but_one(
        self, exam: Exam, group: Sequence[Capture], earlier: Sequence[KnownCapture], known_ids: set[str]
    ) -> list[HeldPart]:
        """Keep the capture under which the source was sent, or the first; hold the others."""
        sent_as = {known.capture_id for known in earlier if self._is_mine(known)}
        stays = next((capture for capture in group if capture.id in sent_as), None)
        if stays is None and not earlier:
            stays = next((capture for capture in group if capture.id in known_ids), group[0])
        held = []
        for capture in group:
            if capture is stays:
                continue
            if stays is not None:
                held.append(self._held(exam, capture, [stays, capture], SameCaptureTwiceError))
            else:
                held.append(self._sent_earlier(exam, capture, earlier[0]))
        return held

    @staticmethod
    def _held(exam: Exam, capture: Capture, group: Sequence[Capture], error: type[SameCaptureTwiceError]) -> HeldPart:
        path = f"captures[{(capture.number or exam.captures.index(capture) + 1) - 1}]"
        names = ", ".join(f"{one.id} ({one.files[0] if one.files else 'no file'})" for one in group)
        two_eyes = error is SamePictureTwoEyesError
        what = "the same picture names two eyes" if two_eyes else "the same picture or movie under two names"
        fix = "leave the one that is right" if two_eyes else f"leave {group[0].id} alone"
        return HeldPart(path, capture.id, error(what, where=exam.origins.get(path, path), was=names, fix=fix))

    def _sent_earlier(self, exam: Exam, capture: Capture, known: KnownCapture) -> HeldPart:
        path = f"captures[{(capture.number or exam.captures.index(capture) + 1) - 1}]"
        visit = "" if self._is_mine(known) else " at another visit of this study"
        name = f"{capture.id} ({capture.files[0] if capture.files else 'no file'})"
        reason = SameCaptureTwiceError(
            "this picture or movie was sent earlier under another name",
            where=exam.origins.get(path, path),
            was=f"{name}, sent as {known.capture_id}{visit}",
            fix="leave it out" if visit else f"write id: {known.capture_id}, or leave it out",
        )
        return HeldPart(path, capture.id, reason)

    def left_out(self, exam: Exam, held: Iterable[HeldPart]) -> tuple[HeldPart, ...]:
        """Return the captures of this visit that were sent earlier and are neither in the exam nor held."""
        present = {capture.id for capture in exam.captures} | {part.name for part in held}
        missing = [known for known in self.captures if self._is_mine(known) and known.capture_id not in present]
        return tuple(
            HeldPart(
                "captures",
                known.capture_id,
                CaptureLeftOutError(
                    "sent earlier, and not in the exam now",
                    where=exam.origins.get("captures", "captures"),
                    was=known.capture_id,
                    fix="put it back into the exam",
                ),
            )
            for known in missing
        )

    def _is_mine(self, known: KnownCapture) -> bool:
        return known.session_key == self.session_key


def known_study(store: Store, exam: Exam, study_instance_uid: str) -> KnownStudy:
    """Return what the store knows of a study.

    Raises
    ------
    StudyOfAnotherPatientError
        If it is another patient's.
    """
    order = exam.order
    with store.transaction() as connection:
        row = connection.execute(
            sa.select(studies).where(studies.c.study_instance_uid == study_instance_uid)
        ).one_or_none()
        captures = connection.execute(
            sa.select(study_captures)
            .where(study_captures.c.study_instance_uid == study_instance_uid)
            .order_by(study_captures.c.instance_number)
        ).all()
        others = connection.scalar(
            sa.select(sa.func.count())
            .where(studies.c.study_instance_uid != study_instance_uid)
            .where((studies.c.issuer == exam.patient.issuer) & (studies.c.patient_id == exam.patient.id))
            .where(studies.c.accession_number == order.accession_number)
        )
    if row is not None:
        check_patient(exam, row.issuer, row.patient_id)
    started = datetime.fromisoformat(row.started_at) if row is not None else None
    return KnownStudy(
        session_key(exam),
        None if started == exam.session.start else started,
        tuple(KnownCapture(c.session_key, c.capture_id, c.instance_number, c.source) for c in captures),
        bool(order.accession_number and others and row is None),
    )


def check_patient(exam: Exam, issuer: str, patient_id: str) -> None:
    """Refuse an exam whose study is known as another patient's.

    Raises
    ------
    StudyOfAnotherPatientError
    """
    if (issuer, patient_id) != (exam.patient.issuer, exam.patient.id):
        raise StudyOfAnotherPatientError(
            "this study is known as another patient's",
            where=exam.origins.get("order.study_instance_uid", exam.key),
            fix="mend order.study_instance_uid or the patient",
        )


@dataclass(frozen=True, slots=True)
class StudyVersions:
    """The versions of one visit's reports that were queued, as a builder asks for them."""

    store: Store
    study_instance_uid: str
    session_key: str
    variant: str
    destination: str = ""

    def version(self, sop_class_uid: str, content: str) -> ReportVersion:
        """Return the latest version where its content is the same; else the next, which replaces it.

        It replaces the latest that may have reached an archive: one that never left replaces nothing.
        """
        of_study = (report_versions.c.study_instance_uid == self.study_instance_uid) & (
            report_versions.c.sop_class_uid == sop_class_uid
        )
        newest_first = report_versions.c.instance_number.desc()
        with self.store.transaction() as connection:
            rows = connection.execute(sa.select(report_versions).where(of_study).order_by(newest_first)).all()
            went_out = connection.execute(
                sa.select(deliveries.c.sop_instance_uid, deliveries.c.destination)
                .join(report_versions, report_versions.c.sop_instance_uid == deliveries.c.sop_instance_uid)
                .where(of_study & (deliveries.c.state.in_(_ARRIVED) | (deliveries.c.attempts > 0)))
            ).all()
        by_uid = {row.sop_instance_uid: row for row in rows}
        same_variant = [row for row in rows if row.variant == self.variant]
        mine = [row for row in same_variant if row.session_key == self.session_key]
        if mine and mine[0].content == content:
            replaced = by_uid.get(mine[0].predecessor_uid)
            return ReportVersion(content, mine[0].instance_number, _predecessor(replaced) if replaced else None)
        anywhere = {row.sop_instance_uid for row in went_out}
        here = {row.sop_instance_uid for row in went_out if row.destination == self.destination}
        of_visit = [row for row in rows if row.session_key == self.session_key and row.sop_instance_uid in here]
        candidates = [row for row in mine if row.sop_instance_uid in anywhere] or of_visit
        number = max((row.instance_number for row in same_variant), default=0) + 1
        return ReportVersion(content, number, _predecessor(candidates[0]) if candidates else None)


def _predecessor(row: sa.Row[tuple[object, ...]]) -> Predecessor:
    return Predecessor(row.series_instance_uid, row.sop_class_uid, row.sop_instance_uid)
