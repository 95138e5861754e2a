"""Writing down what was queued of a study, in the transaction that queues it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gateway.builders.built import BuiltObject, ObjectKind
from gateway.errors.growing import StudyGrewMeanwhileError
from gateway.model.exam import Exam
from gateway.pipeline.growing import check_patient, session_key
from gateway.pipeline.queue import withdraw
from gateway.pipeline.store import (
    Store,
    capture_instances,
    now_text,
    report_versions,
    studies,
    study_captures,
    supersessions,
)


@dataclass(frozen=True, slots=True)
class HandOver:
    """One exam on its way to one destination.

    Parameters
    ----------
    sources : sequence of (str, str)
        Capture id and what `growing.source_of` says of it.
    objects : sequence of BuiltObject
        Those that are queued.
    variant : str
        See `growing.variant_key`.
    """

    exam: Exam
    study_instance_uid: str
    sources: Sequence[tuple[str, str]]
    objects: Sequence[BuiltObject]
    destination: str
    variant: str


@dataclass(frozen=True, slots=True)
class Superseded:
    """An instance at a destination that no longer holds, because the facts of its capture were corrected."""

    capture_id: str
    sop_instance_uid: str
    replaced_by: str
    replaced_at: str


def record_hand_over(connection: Connection, hand_over: HandOver) -> None:
    """Write down study, captures with their numbers, which instance holds, and versions of reports.

    Deliveries of what is replaced and has not been sent yet are withdrawn.

    Raises
    ------
    StudyOfAnotherPatientError, StudyGrewMeanwhileError
        Nothing is queued then.
    """
    try:
        _record_study(connection, hand_over)
        key = session_key(hand_over.exam)
        sources = dict(hand_over.sources)
        for built in hand_over.objects:
            if built.kind is ObjectKind.IMAGE:
                _record_capture(connection, hand_over, key, built, sources[built.capture_id])
            elif built.version is not None:
                _record_version(connection, hand_over, key, built)
    except sa.exc.IntegrityError as error:
        raise _grew(hand_over) from error


def _grew(hand_over: HandOver) -> StudyGrewMeanwhileError:
    return StudyGrewMeanwhileError(
        "another process queued something of this study meanwhile", where=hand_over.exam.key, fix="run it again"
    )


def _record_study(connection: Connection, hand_over: HandOver) -> None:
    exam, uid = hand_over.exam, hand_over.study_instance_uid
    row = connection.execute(sa.select(studies).where(studies.c.study_instance_uid == uid)).one_or_none()
    start = exam.study_started or exam.session.start
    if row is None:
        connection.execute(
            studies.insert().values(
                study_instance_uid=uid,
                issuer=exam.patient.issuer,
                patient_id=exam.patient.id,
                accession_number=exam.order.accession_number,
                started_at=start.isoformat(),
            )
        )
        return
    check_patient(exam, row.issuer, row.patient_id)
    if datetime.fromisoformat(row.started_at) != start:
        raise _grew(hand_over)


def _record_capture(connection: Connection, hand_over: HandOver, key: str, built: BuiltObject, source: str) -> None:
    identity = {
        "study_instance_uid": hand_over.study_instance_uid,
        "session_key": key,
        "capture_id": built.capture_id,
    }
    known = connection.execute(_where(sa.select(study_captures), study_captures, identity)).one_or_none()
    if known is None:
        values = {**identity, "instance_number": built.instance_number, "source": source}
        connection.execute(study_captures.insert().values(**values))
    elif known.instance_number != built.instance_number:
        raise _grew(hand_over)
    elif known.source != source:
        connection.execute(_where(study_captures.update(), study_captures, identity).values(source=source))
    _record_instance(connection, {**identity, "destination": hand_over.destination}, built.sop_instance_uid)


def _record_instance(connection: Connection, identity: dict[str, str], sop_instance_uid: str) -> None:
    """Let an instance hold for its capture at a destination; what held before is superseded."""
    at_hand = sa.select(capture_instances.c.sop_instance_uid)
    before = connection.scalar(_where(at_hand, capture_instances, identity))
    if before is None:
        connection.execute(capture_instances.insert().values(**identity, sop_instance_uid=sop_instance_uid))
        return
    if before == sop_instance_uid:
        return
    connection.execute(
        _where(capture_instances.update(), capture_instances, identity).values(sop_instance_uid=sop_instance_uid)
    )
    # Facts that were changed back bring the earlier instance back: it holds again.
    at_destination = supersessions.c.destination == identity["destination"]
    connection.execute(
        supersessions.delete().where(at_destination & (supersessions.c.sop_instance_uid == sop_instance_uid))
    )
    connection.execute(
        supersessions.update()
        .where(at_destination & (supersessions.c.replaced_by == before))
        .values(replaced_by=sop_instance_uid)
    )
    connection.execute(
        supersessions.insert().values(
            sop_instance_uid=before,
            destination=identity["destination"],
            replaced_by=sop_instance_uid,
            capture_id=identity["capture_id"],
            replaced_at=now_text(),
        )
    )
    withdraw(connection, [before], identity["destination"])


def _record_version(connection: Connection, hand_over: HandOver, key: str, built: BuiltObject) -> None:
    version = built.version
    assert version is not None  # noqa: S101 - the caller has looked
    mine = report_versions.c.sop_instance_uid == built.sop_instance_uid
    if connection.scalar(sa.select(report_versions.c.instance_number).where(mine)) is None:
        connection.execute(
            report_versions.insert().values(
                sop_instance_uid=built.sop_instance_uid,
                study_instance_uid=hand_over.study_instance_uid,
                session_key=key,
                variant=hand_over.variant,
                sop_class_uid=built.sop_class_uid,
                series_instance_uid=built.series_instance_uid,
                instance_number=version.instance_number,
                content=version.content,
                predecessor_uid=version.predecessor.sop_instance_uid if version.predecessor else "",
            )
        )
    others = connection.scalars(
        sa.select(report_versions.c.sop_instance_uid)
        .where(report_versions.c.study_instance_uid == hand_over.study_instance_uid)
        .where((report_versions.c.session_key == key) & (report_versions.c.sop_class_uid == built.sop_class_uid))
        .where(~mine)
    ).all()
    withdraw(connection, others, hand_over.destination)


def _where(statement, table: sa.Table, identity: dict[str, str]):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Narrow a statement of SQLAlchemy, of whichever kind, to one row."""
    for name, value in identity.items():
        statement = statement.where(table.c[name] == value)
    return statement


def superseded_at(store: Store, study_instance_uid: str, destination: str) -> tuple[Superseded, ...]:
    """Return the instances of a study that no longer hold at a destination, which may still have them."""
    with store.transaction() as connection:
        rows = connection.execute(
            sa.select(
                supersessions.c.capture_id,
                supersessions.c.sop_instance_uid,
                supersessions.c.replaced_by,
                supersessions.c.replaced_at,
            )
            .join(capture_instances, capture_instances.c.sop_instance_uid == supersessions.c.replaced_by)
            .where(capture_instances.c.study_instance_uid == study_instance_uid)
            .where((capture_instances.c.destination == destination) & (supersessions.c.destination == destination))
            .order_by(supersessions.c.replaced_at)
        ).all()
    return tuple(Superseded(*row) for row in rows)
