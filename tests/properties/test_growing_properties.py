"""Exams that grow, in any order of hand-overs, corrections and people: what must hold after every step.

A state machine on a real SQLite store; only pixels and files are left out, so that thousands of steps are possible.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, initialize, invariant, rule

from gateway.builders.built import BuiltObject, ObjectKind
from gateway.builders.options import BuildOptions, ReportVersion
from gateway.builders.uids import study_uid
from gateway.errors.patients import PatientNotDecidedError, StudyOfAnotherPatientError, TwoPeopleUnderOneIdError
from gateway.model.capture import Capture, CaptureKind
from gateway.model.exam import Exam
from gateway.model.holding import hold_captures
from gateway.model.laterality import Eye
from gateway.model.media import ColourModel, PixelFacts
from gateway.model.order import Order
from gateway.model.people import Patient, PersonName, Sex
from gateway.model.position import ClockHour, ProbePosition, Scan
from gateway.model.session import Session
from gateway.pipeline.growing import StudyVersions, known_study, source_of
from gateway.pipeline.patients import PatientRules, decide_new, decide_same, identified, record_patient
from gateway.pipeline.queue import DeliveryState, Outcome, Queue
from gateway.pipeline.store import ObjectRecord, Store, patients
from gateway.pipeline.study_record import HandOver, record_hand_over, superseded_at

OPTIONS = BuildOptions()
START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
NAMES = ("Holm^Maija", "HOLM^MAIJA", "Berg^Nora")
DAYS = (date(1958, 3, 14), date(1960, 1, 1), None)
DESTINATIONS = ("a", "b")


@dataclass(frozen=True)
class Picture:
    """A source that is known by its digest alone."""

    facts: PixelFacts

    def frames(self):
        yield np.zeros((1, 1), np.uint8)


def picture(seed: int) -> Picture:
    return Picture(PixelFacts(1, 1, ColourModel.GREY, hashlib.sha256(bytes([seed])).hexdigest()))


@dataclass(frozen=True)
class Shot:
    """One capture as a clinic writes it down."""

    id: str
    seed: int
    half_hours: int
    eye: Eye


class Growing(RuleBasedStateMachine):
    exams = Bundle("exams")

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.store = Store(self.folder)
        self.queue = Queue(self.store, "worker")
        self.rules = PatientRules("INVENTED", generates=True)
        self.sent: dict[str, dict[str, str]] = {name: {} for name in DESTINATIONS}
        self.numbers: dict[tuple[str, str, str], int] = {}
        self.ids: dict[tuple[str, ...], str] = {}
        self.owners: dict[str, str] = {}
        self.chains: dict[tuple[str, str], list[tuple[str, str]]] = {}

    def teardown(self) -> None:
        if hasattr(self, "store"):
            self.store.close()
            shutil.rmtree(self.folder)

    @rule(
        target=exams,
        patient_id=st.sampled_from(["", "7"]),
        name=st.sampled_from(NAMES),
        born=st.sampled_from(DAYS),
        day=st.integers(0, 2),
        ordered=st.booleans(),
    )
    def new_exam(self, patient_id: str, name: str, born: date | None, day: int, ordered: bool) -> Exam:
        patient = Patient(patient_id, "HOSPITAL" if patient_id else "", PersonName(name), born, Sex.FEMALE)
        # A stated study is one patient's: a clinic's order is not what is tested here.
        order = Order("A-1", study_instance_uid=_uid([name, born, patient_id]) if ordered else "")
        shots = (Shot("od-0", day, 6, Eye.RIGHT),)
        return Exam("exam", patient, order, Session(START + timedelta(days=day)), _captures(shots))

    @rule(target=exams, exam=exams, seed=st.integers(0, 9), place=st.integers(0, 4), eye=st.sampled_from(list(Eye)))
    def add(self, exam: Exam, seed: int, place: int, eye: Eye) -> Exam:
        shots = list(_shots(exam))
        free = next(n for n in range(99) if f"od-{n}" not in {shot.id for shot in shots})
        shots.insert(place, Shot(f"od-{free}", seed, 12, eye))
        return replace(exam, captures=_captures(shots))

    @rule(target=exams, exam=exams, which=st.integers(0, 9), half_hours=st.integers(2, 24))
    def correct(self, exam: Exam, which: int, half_hours: int) -> Exam:
        shots = list(_shots(exam))
        shots[which % len(shots)] = replace(shots[which % len(shots)], half_hours=half_hours)
        return replace(exam, captures=_captures(shots))

    @rule(target=exams, exam=exams, which=st.integers(0, 9))
    def leave_out(self, exam: Exam, which: int) -> Exam:
        shots = list(_shots(exam))
        return replace(exam, captures=_captures([s for n, s in enumerate(shots) if n != which % len(shots)] or shots))

    @rule(exam=exams, destination=st.sampled_from(DESTINATIONS), reaches=st.booleans(), asked=st.booleans())
    def hand_over(self, exam: Exam, destination: str, reaches: bool, asked: bool) -> None:
        stated = exam.patient
        try:
            exam = identified(self.store, self.rules, exam)
        except PatientNotDecidedError:
            exam = self._decided(exam, asked)
        except TwoPeopleUnderOneIdError:
            assert stated.id
            return
        self._same_id_as_ever(stated, exam)
        uid = study_uid(exam, OPTIONS)
        media = {capture.id: picture(shot.seed) for capture, shot in zip(exam.captures, _shots(exam), strict=True)}
        try:
            study = known_study(self.store, exam, uid)
        except StudyOfAnotherPatientError:
            # A human called somebody new whose order is another person's.
            assert self.owners[uid] != exam.patient.id
            return
        assert self.owners.setdefault(uid, exam.patient.id) == exam.patient.id
        exam = replace(exam, study_started=study.started)
        placed, held = hold_captures(exam, study.repeated(exam, media))
        if not placed.captures:
            assert held
            return
        numbers = study.numbers(placed.captures)
        images = [_image(uid, capture, media[capture.id], numbers[capture.id]) for capture in placed.captures]
        versions = StudyVersions(self.store, uid, study.session_key, "", destination)
        version = versions.version("1.2.88", _digest([image.sop_instance_uid for image in images]))
        report = _report(uid, study.session_key, version)
        sources = [(capture.id, source_of(capture, media[capture.id])) for capture in placed.captures]
        objects = [*images, report]
        with self.store.transaction() as connection:
            self.store.record_exam(connection, uid, "exam", len(held))
            self.store.record_objects(connection, [_record(built) for built in objects])
            record_patient(connection, placed)
            record_hand_over(connection, HandOver(placed, uid, sources, objects, destination, ""))
            waiting = self.queue.enqueue(connection, [built.sop_instance_uid for built in objects], destination)
        self._send(destination, uid, reaches)
        self._check_numbers(uid, study.session_key, numbers)
        self._check_versions(uid, study.session_key, report, version)
        # The same once more changes nothing.
        assert known_study(self.store, placed, uid).numbers(placed.captures) == numbers
        assert versions.version("1.2.88", version.content) == version
        assert waiting >= 0

    def _decided(self, exam: Exam, asked: bool) -> Exam:
        known = [row for row in self._people() if row.is_generated or row.issuer == "HOSPITAL"]
        assert known, "a question about nobody"
        if asked:
            return decide_new(self.store, self.rules, exam, "nurse")
        return decide_same(self.store, self.rules, exam, (known[0].issuer, known[0].patient_id), "nurse")

    def _same_id_as_ever(self, stated: Patient, exam: Exam) -> None:
        key = (stated.id, stated.name.alphabetic, str(stated.birth_date), str(exam.session.start))
        key = (*key, exam.order.study_instance_uid)
        assert self.ids.setdefault(key, exam.patient.id) == exam.patient.id
        assert exam.patient.id

    def _send(self, destination: str, uid: str, reaches: bool) -> None:
        claimed = self.queue.claim(destination, uid)
        state = DeliveryState.SENT if reaches else DeliveryState.REFUSED
        self.queue.finish([Outcome(delivery, state) for delivery in claimed])
        for delivery in claimed:
            if reaches:
                assert delivery.sop_instance_uid not in self.sent[destination], "sent twice"
                self.sent[destination][delivery.sop_instance_uid] = delivery.sha256
        self.queue.mark_sent([d.sop_instance_uid for d in claimed], destination, DeliveryState.COMMITTED, "committed")

    def _check_numbers(self, uid: str, session: str, numbers) -> None:
        for capture_id, number in numbers.items():
            assert self.numbers.setdefault((uid, session, capture_id), number) == number, "renumbered"
        of_study = [number for (study, _s, _c), number in self.numbers.items() if study == uid]
        assert len(set(of_study)) == len(of_study), "one number for two captures of a study"

    def _check_versions(self, uid: str, session: str, report: BuiltObject, version: ReportVersion) -> None:
        chain = self.chains.setdefault((uid, session), [])
        if not chain or chain[-1][0] != report.sop_instance_uid:
            assert report.sop_instance_uid not in {one for one, _content in chain}, "an old report came back"
            chain.append((report.sop_instance_uid, version.content))
        if version.predecessor:
            before = [one for one, _content in chain[:-1]]
            assert version.predecessor.sop_instance_uid in before

    def _people(self):
        with self.store.transaction() as connection:
            return connection.execute(sa.select(patients)).all()

    @invariant()
    def no_identifier_is_two_people(self) -> None:
        if not hasattr(self, "store"):
            return
        by_id: dict[str, set[str]] = {}
        for (stated_id, name, *_rest), patient_id in self.ids.items():
            if not stated_id:
                by_id.setdefault(patient_id, set()).add(name.casefold())
        # Only the human who may take anybody for anybody brings names together.
        assert all(len(names) <= 2 for names in by_id.values())

    @invariant()
    def what_is_superseded_is_not_what_holds(self) -> None:
        if not hasattr(self, "store"):
            return
        for uid, _session in self.chains:
            for destination in DESTINATIONS:
                replaced = superseded_at(self.store, uid, destination)
                old = {item.sop_instance_uid for item in replaced}
                assert not old & {item.replaced_by for item in replaced}


def _captures(shots) -> tuple[Capture, ...]:
    return tuple(
        Capture(
            shot.id,
            CaptureKind.STILL,
            (f"{shot.id}-{shot.seed}.png",),
            shot.eye,
            ProbePosition(Scan.TRANSVERSE, clock_hour=ClockHour(shot.half_hours)),
            number=number,
        )
        for number, shot in enumerate(shots, 1)
    )


def _shots(exam: Exam) -> tuple[Shot, ...]:
    return tuple(
        Shot(c.id, int(c.files[0].rsplit("-", 1)[1].removesuffix(".png")), c.position.clock_hour.half_hours, c.eye)
        for c in exam.captures
    )


def _digest(facts: object) -> str:
    return hashlib.sha256(repr(facts).encode()).hexdigest()


def _uid(facts: object) -> str:
    return f"2.25.{int(_digest(facts)[:30], 16)}"


def _image(study: str, capture: Capture, source: Picture, number: int) -> BuiltObject:
    uid = _uid([study, capture.eye, capture.position, source.facts.source_sha256, number])
    return replace(_built(ObjectKind.IMAGE, "1.2.6", uid, study, number), capture_id=capture.id)


def _report(study: str, session: str, version: ReportVersion) -> BuiltObject:
    replaced = version.predecessor.sop_instance_uid if version.predecessor else ""
    uid = _uid([study, session, version.content, version.instance_number, replaced])
    return replace(_built(ObjectKind.REPORT, "1.2.88", uid, study, version.instance_number), version=version)


def _built(kind: ObjectKind, sop_class: str, uid: str, study: str, number: int) -> BuiltObject:
    return BuiltObject(kind, sop_class, uid, "1.2.3", study, "1.2.1", Path("x"), _digest(uid), 1, "", 1, number)


def _record(built: BuiltObject) -> ObjectRecord:
    return ObjectRecord(
        built.sop_instance_uid,
        built.study_instance_uid,
        built.series_instance_uid,
        built.sop_class_uid,
        built.transfer_syntax_uid,
        built.kind.value,
        built.sha256,
    )


TestGrowing = Growing.TestCase
TestGrowing.settings = settings(
    max_examples=40, stateful_step_count=25, deadline=None, suppress_health_check=list(HealthCheck)
)
