"""The one durable store: exams, objects, when each was first built, and deliveries, in one database."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from gateway.errors.store import SameUidOtherContentError, StoreUnavailableError

SCHEMA_VERSION = 1

metadata = sa.MetaData()

schema = sa.Table("schema", metadata, sa.Column("version", sa.Integer, nullable=False))

exams = sa.Table(
    "exams",
    metadata,
    sa.Column("study_instance_uid", sa.String(64), primary_key=True),
    sa.Column("exam_key", sa.Text, nullable=False),
    sa.Column("state", sa.String(16), nullable=False),
    sa.Column("held_parts", sa.Integer, nullable=False),
    sa.Column("updated_at", sa.String(32), nullable=False),
)

creations = sa.Table(
    "creations",
    metadata,
    sa.Column("sop_instance_uid", sa.String(64), primary_key=True),
    sa.Column("created_at", sa.String(32), nullable=False),
)
"""When each UID was first assigned: the same UID is the same bytes for ever, Instance Creation Time among them."""

objects = sa.Table(
    "objects",
    metadata,
    sa.Column("sop_instance_uid", sa.String(64), primary_key=True),
    sa.Column("study_instance_uid", sa.String(64), sa.ForeignKey("exams.study_instance_uid"), nullable=False),
    sa.Column("series_instance_uid", sa.String(64), nullable=False),
    sa.Column("sop_class_uid", sa.String(64), nullable=False),
    sa.Column("transfer_syntax_uid", sa.String(64), nullable=False),
    sa.Column("kind", sa.String(16), nullable=False),
    sa.Column("sha256", sa.String(64), nullable=False),
)

deliveries = sa.Table(
    "deliveries",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("sop_instance_uid", sa.String(64), sa.ForeignKey("objects.sop_instance_uid"), nullable=False),
    sa.Column("destination", sa.Text, nullable=False),
    sa.Column("state", sa.String(16), nullable=False),
    sa.Column("attempts", sa.Integer, nullable=False),
    sa.Column("not_before", sa.Float, nullable=False),
    sa.Column("lease_by", sa.Text),
    sa.Column("lease_until", sa.Float),
    sa.Column("status", sa.Integer),
    sa.Column("comment", sa.Text, nullable=False),
    sa.Column("updated_at", sa.String(32), nullable=False),
    sa.UniqueConstraint("sop_instance_uid", "destination"),
    sa.Index("deliveries_ready", "destination", "state", "not_before"),
)


studies = sa.Table(
    "studies",
    metadata,
    sa.Column("study_instance_uid", sa.String(64), primary_key=True),
    sa.Column("issuer", sa.Text, nullable=False),
    sa.Column("patient_id", sa.Text, nullable=False),
    sa.Column("accession_number", sa.Text, nullable=False),
    sa.Column("started_at", sa.String(32), nullable=False),
)
"""Whose each study is and when its first session began: what all its instances must agree on (PS3.3 C.7.2.1)."""

study_captures = sa.Table(
    "study_captures",
    metadata,
    sa.Column("study_instance_uid", sa.String(64), sa.ForeignKey("studies.study_instance_uid"), primary_key=True),
    sa.Column("session_key", sa.String(16), primary_key=True),
    sa.Column("capture_id", sa.Text, primary_key=True),
    sa.Column("instance_number", sa.Integer, nullable=False),
    sa.Column("source", sa.Text, nullable=False),
    sa.UniqueConstraint("study_instance_uid", "instance_number"),
)
"""Every capture that was queued for any destination: its number for ever, and the digest of its source."""

capture_instances = sa.Table(
    "capture_instances",
    metadata,
    sa.Column("study_instance_uid", sa.String(64), primary_key=True),
    sa.Column("session_key", sa.String(16), primary_key=True),
    sa.Column("capture_id", sa.Text, primary_key=True),
    sa.Column("destination", sa.Text, primary_key=True),
    sa.Column("sop_instance_uid", sa.String(64), sa.ForeignKey("objects.sop_instance_uid"), nullable=False),
    sa.ForeignKeyConstraint(
        ["study_instance_uid", "session_key", "capture_id"],
        ["study_captures.study_instance_uid", "study_captures.session_key", "study_captures.capture_id"],
    ),
)
"""Which instance of each capture holds at each destination."""

supersessions = sa.Table(
    "supersessions",
    metadata,
    sa.Column("sop_instance_uid", sa.String(64), sa.ForeignKey("objects.sop_instance_uid"), primary_key=True),
    sa.Column("destination", sa.Text, primary_key=True),
    sa.Column("replaced_by", sa.String(64), sa.ForeignKey("objects.sop_instance_uid"), nullable=False),
    sa.Column("capture_id", sa.Text, nullable=False),
    sa.Column("replaced_at", sa.String(32), nullable=False),
)
"""Instances that no longer hold because the facts of their capture were corrected."""

report_versions = sa.Table(
    "report_versions",
    metadata,
    sa.Column("sop_instance_uid", sa.String(64), sa.ForeignKey("objects.sop_instance_uid"), primary_key=True),
    sa.Column("study_instance_uid", sa.String(64), sa.ForeignKey("studies.study_instance_uid"), nullable=False),
    sa.Column("session_key", sa.String(16), nullable=False),
    sa.Column("variant", sa.String(64), nullable=False),
    sa.Column("sop_class_uid", sa.String(64), nullable=False),
    sa.Column("series_instance_uid", sa.String(64), nullable=False),
    sa.Column("instance_number", sa.Integer, nullable=False),
    sa.Column("content", sa.String(64), nullable=False),
    sa.Column("predecessor_uid", sa.String(64), nullable=False),
    sa.UniqueConstraint("study_instance_uid", "sop_class_uid", "variant", "instance_number"),
)
"""Every version of every report that was queued, with the one it replaces."""

patients = sa.Table(
    "patients",
    metadata,
    sa.Column("issuer", sa.Text, primary_key=True),
    sa.Column("patient_id", sa.Text, primary_key=True),
    sa.Column("is_generated", sa.Boolean, nullable=False),
    sa.Column("known_since", sa.String(32), nullable=False),
)
"""One row for each (issuer, identifier), which is one person; rows are never deleted, so no identifier comes twice."""

patient_facts = sa.Table(
    "patient_facts",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("issuer", sa.Text, nullable=False),
    sa.Column("patient_id", sa.Text, nullable=False),
    sa.Column("alphabetic", sa.Text, nullable=False),
    sa.Column("ideographic", sa.Text, nullable=False),
    sa.Column("phonetic", sa.Text, nullable=False),
    sa.Column("birth_date", sa.String(10), nullable=False),
    sa.Column("sex", sa.String(1), nullable=False),
    sa.Column("place", sa.Text, nullable=False),
    sa.Column("accepted_at", sa.String(32), nullable=False),
    sa.ForeignKeyConstraint(["issuer", "patient_id"], ["patients.issuer", "patients.patient_id"]),
    sa.Index("patient_facts_of", "issuer", "patient_id"),
)
"""Names, birth dates and sexes that were accepted for a person, each with the place where it was read."""

patient_decisions = sa.Table(
    "patient_decisions",
    metadata,
    sa.Column("exam_digest", sa.String(64), primary_key=True),
    sa.Column("issuer", sa.Text, nullable=False),
    sa.Column("patient_id", sa.Text, nullable=False),
    sa.Column("decision", sa.String(16), nullable=False),
    sa.Column("decided_by", sa.Text, nullable=False),
    sa.Column("decided_at", sa.String(32), nullable=False),
    sa.Column("place", sa.Text, nullable=False),
    sa.ForeignKeyConstraint(["issuer", "patient_id"], ["patients.issuer", "patients.patient_id"]),
)
"""Which person an exam is of, by rule or by a named human, kept for ever."""

patient_questions = sa.Table(
    "patient_questions",
    metadata,
    sa.Column("exam_digest", sa.String(64), primary_key=True),
    sa.Column("place", sa.Text, nullable=False),
    sa.Column("issuer", sa.Text, primary_key=True),
    sa.Column("patient_id", sa.Text, primary_key=True),
    sa.Column("question", sa.String(16), nullable=False),
    sa.Column("asked_at", sa.String(32), nullable=False),
)
"""Exams that wait for a person's decision, with each known person in question."""


class ExamState(StrEnum):
    """How far an exam has come."""

    QUEUED = "queued"
    STORED = "stored"
    """Every object confirmed by every destination."""
    ATTENTION = "attention"
    """Something needs a person: a refusal, a part held, an object with findings."""


@dataclass(frozen=True, slots=True)
class ObjectRecord:
    """What the store keeps of one built object."""

    sop_instance_uid: str
    study_instance_uid: str
    series_instance_uid: str
    sop_class_uid: str
    transfer_syntax_uid: str
    kind: str
    sha256: str


def now_text() -> str:
    """Return the current moment as the store writes it."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


class Store:
    """The database. SQLite in write-ahead mode with full synchronisation: what is committed survives a power cut.

    Parameters
    ----------
    folder : Path
        Where ``gateway.sqlite`` lies; created if missing.

    Raises
    ------
    StoreUnavailableError
        If the folder or file cannot be used, or was written by a newer gateway.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / "gateway.sqlite"
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._engine: Engine = sa.create_engine(f"sqlite:///{self._path}", connect_args={"timeout": 30})
            sa.event.listen(self._engine, "connect", _set_pragmas)
            sa.event.listen(self._engine, "begin", _begin_immediate)
            with self.transaction() as connection:
                self._prepare(connection)
            os.chmod(self._path, 0o600)  # noqa: PTH101 - Path.chmod follows the same call
        except (OSError, sa.exc.SQLAlchemyError) as error:
            raise StoreUnavailableError("the database cannot be used", where=str(self._path), was=str(error)) from error

    def _prepare(self, connection: Connection) -> None:
        metadata.create_all(connection)
        version = connection.scalar(sa.select(schema.c.version))
        if version is None:
            connection.execute(schema.insert().values(version=SCHEMA_VERSION))
        elif version > SCHEMA_VERSION:
            raise StoreUnavailableError(
                "the database was written by a newer gateway", where=str(self._path), fix="use that version"
            )

    @contextmanager
    def transaction(self) -> Iterator[Connection]:
        """One transaction: all of it is durable when the block ends, or none of it."""
        try:
            with self._engine.begin() as connection:
                yield connection
        except sa.exc.OperationalError as error:
            raise StoreUnavailableError(
                "the database refused", where=str(self._path), was=str(error.orig), fix="look at disk and permissions"
            ) from error

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()

    def created(self, sop_instance_uid: str) -> datetime:
        """Return when this UID was first built; the first call decides and is remembered for ever."""
        with self.transaction() as connection:
            known = connection.scalar(
                sa.select(creations.c.created_at).where(creations.c.sop_instance_uid == sop_instance_uid)
            )
            if known is None:
                known = now_text()
                connection.execute(creations.insert().values(sop_instance_uid=sop_instance_uid, created_at=known))
        return datetime.fromisoformat(known)

    def record_exam(self, connection: Connection, study_instance_uid: str, exam_key: str, held_parts: int) -> None:
        """Remember an exam; handing it over again updates the row."""
        values = {
            "exam_key": exam_key,
            "state": ExamState.QUEUED.value,
            "held_parts": held_parts,
            "updated_at": now_text(),
        }
        changed = connection.execute(
            exams.update().where(exams.c.study_instance_uid == study_instance_uid).values(**values)
        )
        if changed.rowcount == 0:
            connection.execute(exams.insert().values(study_instance_uid=study_instance_uid, **values))

    def record_objects(self, connection: Connection, records: Sequence[ObjectRecord]) -> None:
        """Remember built objects; the same UID with the same bytes again is harmless.

        Raises
        ------
        SameUidOtherContentError
            If a UID is known with other bytes.
        """
        for record in records:
            known = connection.scalar(
                sa.select(objects.c.sha256).where(objects.c.sop_instance_uid == record.sop_instance_uid)
            )
            if known is None:
                connection.execute(
                    objects.insert().values(**{name: getattr(record, name) for name in record.__slots__})
                )
            elif known != record.sha256:
                raise SameUidOtherContentError(
                    "a known SOP Instance UID came with other bytes",
                    where=record.sop_instance_uid,
                    was=f"digest {record.sha256[:12]}..., known {known[:12]}...",
                )

    def set_exam_state(self, study_instance_uid: str, state: ExamState) -> None:
        """Move an exam to a state."""
        with self.transaction() as connection:
            connection.execute(
                exams.update()
                .where(exams.c.study_instance_uid == study_instance_uid)
                .values(state=state.value, updated_at=now_text())
            )

    def exam_state(self, study_instance_uid: str) -> ExamState | None:
        """Return the state of an exam, None if it is not known."""
        with self.transaction() as connection:
            found = connection.scalar(sa.select(exams.c.state).where(exams.c.study_instance_uid == study_instance_uid))
        return ExamState(found) if found else None


def _set_pragmas(connection: object, _record: object) -> None:
    """WAL lets readers go on while one writes; synchronous=FULL makes a commit survive a power cut."""
    cursor = connection.cursor()  # type: ignore[attr-defined]
    # SQLAlchemy begins the transactions; the driver must not begin its own.
    connection.isolation_level = None  # type: ignore[attr-defined]
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=30000"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_immediate(connection: Connection) -> None:
    """Take the write lock at the start: a claim that reads first and writes later could otherwise be overtaken."""
    connection.exec_driver_sql("BEGIN IMMEDIATE")
