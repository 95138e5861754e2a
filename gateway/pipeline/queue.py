"""The queue: one row for each object and destination; claimed under a lease, finished only by who holds it."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gateway.pipeline.store import Store, deliveries, now_text, objects

LONGEST_PAUSE_S = 300.0


class DeliveryState(StrEnum):
    """Where one object stands on its way to one destination."""

    WAITING = "waiting"
    SENT = "sent"
    """The archive answered that it has it; not yet confirmed."""
    COMMITTED = "committed"
    """The archive has taken responsibility for it (Storage Commitment, PS3.4 J)."""
    LISTED = "listed"
    """A query finds it at an archive that offers no commitment: the proof that remains, and not more."""
    REFUSED = "refused"
    """Permanently refused, or given up after the last attempt; a person must look."""
    WITHDRAWN = "withdrawn"
    """Replaced before it was sent, by an instance with corrected facts or a newer report; it is not sent any more."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """One claimed or listed delivery, with what is needed to send it."""

    id: int
    sop_instance_uid: str
    study_instance_uid: str
    sop_class_uid: str
    transfer_syntax_uid: str
    sha256: str
    state: DeliveryState
    attempts: int
    status: int | None
    comment: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one attempt.

    Parameters
    ----------
    state : DeliveryState
        WAITING puts it back for another try after `pause_s`.
    status : int or None
        DIMSE status of the answer; None where none came.
    """

    delivery: Delivery
    state: DeliveryState
    status: int | None = None
    comment: str = ""
    pause_s: float = 0.0


def retry_pause_s(attempt: int, first_s: float, *, jitter: Callable[[], float] = random.random) -> float:
    """Return the pause before the next try: doubling, capped, with jitter so that many do not return at once.

    Parameters
    ----------
    attempt : int
        1 after the first try.
    first_s : float
    jitter : callable
        Returns a number in [0, 1).
    """
    # The exponent is bounded before it is used, so that a long outage cannot overflow it.
    full_s: float = min(LONGEST_PAUSE_S, first_s * 2.0 ** min(attempt - 1, 30))
    return full_s * (0.5 + jitter() / 2)


class Queue:
    """Deliveries of a store.

    Parameters
    ----------
    store : Store
    worker : str
        Who claims; a finish by anybody else is refused.
    lease_s : float
        How long a claim holds without being renewed.
    """

    def __init__(
        self, store: Store, worker: str, *, lease_s: float = 60.0, clock: Callable[[], float] = time.time
    ) -> None:
        self._store = store
        self._worker = worker
        self._lease_s = lease_s
        self._clock = clock

    def enqueue(
        self, connection: Connection, sop_instance_uids: Iterable[str], destination: str, *, again: bool = False
    ) -> int:
        """Put objects in line for a destination, in the caller's transaction.

        Those in line, sent or arrived are left alone. Those that were refused wait again: handing an exam over once
        more is how a person says that the cause is mended.

        Parameters
        ----------
        again : bool
            Send also what already arrived.

        Returns
        -------
        int
            How many rows now wait because of this call.
        """
        queued = 0
        for uid in sop_instance_uids:
            mine = (deliveries.c.sop_instance_uid == uid) & (deliveries.c.destination == destination)
            fresh = {"state": DeliveryState.WAITING.value, "attempts": 0, "not_before": 0.0, "updated_at": now_text()}
            state = connection.scalar(sa.select(deliveries.c.state).where(mine))
            if state is None:
                values = {"sop_instance_uid": uid, "destination": destination, "comment": "", **fresh}
                connection.execute(deliveries.insert().values(**values))
                queued += 1
            elif state in _LEFT_LYING or (again and state != DeliveryState.WAITING.value):
                connection.execute(deliveries.update().where(mine).values(**fresh))
                queued += 1
        return queued

    def claim(self, destination: str, study_instance_uid: str, most: int = 100) -> tuple[Delivery, ...]:
        """Claim waiting deliveries of a study whose time has come and that nobody holds, oldest first."""
        now = self._clock()
        free = (deliveries.c.lease_until.is_(None)) | (deliveries.c.lease_until < now)
        ready = _waiting(destination, study_instance_uid) & (deliveries.c.not_before <= now) & free
        with self._store.transaction() as connection:
            rows = connection.execute(_with_object().where(ready).order_by(deliveries.c.id).limit(most)).all()
            claimed = tuple(_delivery(row, tries=1) for row in rows)
            connection.execute(
                deliveries.update()
                .where(deliveries.c.id.in_([delivery.id for delivery in claimed]))
                .values(lease_by=self._worker, lease_until=now + self._lease_s, attempts=deliveries.c.attempts + 1)
            )
        return claimed

    def finish(self, outcomes: Sequence[Outcome]) -> tuple[Delivery, ...]:
        """Write what became of claimed deliveries and give up the leases.

        Returns
        -------
        tuple of Delivery
            Those that another worker has taken over meanwhile; nothing was written for them.
        """
        now = self._clock()
        lost: list[Delivery] = []
        with self._store.transaction() as connection:
            for outcome in outcomes:
                changed = connection.execute(
                    deliveries.update()
                    .where((deliveries.c.id == outcome.delivery.id) & (deliveries.c.lease_by == self._worker))
                    .values(
                        state=outcome.state.value,
                        status=outcome.status,
                        comment=outcome.comment,
                        not_before=now + outcome.pause_s,
                        lease_by=None,
                        lease_until=None,
                        updated_at=now_text(),
                    )
                )
                if changed.rowcount == 0:
                    lost.append(outcome.delivery)
        return tuple(lost)

    def mark_sent(self, sop_instance_uids: Iterable[str], destination: str, state: DeliveryState, comment: str) -> None:
        """Move deliveries that are sent to another state, or give them another comment."""
        with self._store.transaction() as connection:
            connection.execute(
                deliveries.update()
                .where(
                    deliveries.c.sop_instance_uid.in_(list(sop_instance_uids))
                    & (deliveries.c.destination == destination)
                    & (deliveries.c.state == DeliveryState.SENT.value)
                )
                .values(state=state.value, comment=comment, updated_at=now_text())
            )

    def of_study(self, study_instance_uid: str, destination: str) -> tuple[Delivery, ...]:
        """List the deliveries of one study to one destination."""
        mine = (objects.c.study_instance_uid == study_instance_uid) & (deliveries.c.destination == destination)
        with self._store.transaction() as connection:
            rows = connection.execute(_with_object().where(mine).order_by(deliveries.c.id)).all()
        return tuple(_delivery(row) for row in rows)

    def next_due_s(self, destination: str, study_instance_uid: str) -> float | None:
        """Return in how many seconds a waiting delivery of a study can be claimed; None where none waits."""
        held_until = sa.func.coalesce(deliveries.c.lease_until, 0.0)
        due = sa.case((held_until > deliveries.c.not_before, held_until), else_=deliveries.c.not_before)
        with self._store.transaction() as connection:
            earliest = connection.scalar(
                sa.select(sa.func.min(due))
                .join(objects, objects.c.sop_instance_uid == deliveries.c.sop_instance_uid)
                .where(_waiting(destination, study_instance_uid))
            )
        return None if earliest is None else max(0.0, float(earliest) - self._clock())

    def renew(self, claimed: Iterable[Delivery]) -> None:
        """Hold claims for another lease while their work goes on."""
        with self._store.transaction() as connection:
            connection.execute(
                deliveries.update()
                .where(deliveries.c.id.in_([delivery.id for delivery in claimed]))
                .where(deliveries.c.lease_by == self._worker)
                .values(lease_until=self._clock() + self._lease_s)
            )


_LEFT_LYING = (DeliveryState.REFUSED.value, DeliveryState.WITHDRAWN.value)


def withdraw(connection: Connection, sop_instance_uids: Iterable[str], destination: str) -> None:
    """Take objects out of the line that were not sent and that nobody is sending now."""
    unsent = deliveries.c.state.in_((DeliveryState.WAITING.value, DeliveryState.REFUSED.value))
    connection.execute(
        deliveries.update()
        .where(deliveries.c.sop_instance_uid.in_(list(sop_instance_uids)))
        .where((deliveries.c.destination == destination) & unsent)
        .where(deliveries.c.lease_until.is_(None) | (deliveries.c.lease_until < time.time()))
        .values(state=DeliveryState.WITHDRAWN.value, comment="replaced before it was sent", updated_at=now_text())
    )


def _waiting(destination: str, study_instance_uid: str) -> sa.ColumnElement[bool]:
    return (
        (deliveries.c.destination == destination)
        & (deliveries.c.state == DeliveryState.WAITING.value)
        & (objects.c.study_instance_uid == study_instance_uid)
    )


def _with_object() -> sa.Select[tuple[object, ...]]:
    return sa.select(
        deliveries.c.id,
        deliveries.c.sop_instance_uid,
        objects.c.study_instance_uid,
        objects.c.sop_class_uid,
        objects.c.transfer_syntax_uid,
        objects.c.sha256,
        deliveries.c.state,
        deliveries.c.attempts,
        deliveries.c.status,
        deliveries.c.comment,
    ).join(objects, objects.c.sop_instance_uid == deliveries.c.sop_instance_uid)


def _delivery(row: sa.Row[tuple[object, ...]], *, tries: int = 0) -> Delivery:
    """Turn a row into a value; `tries` is what the claim in hand adds to its attempts."""
    values = dict(row._mapping)
    values["attempts"] += tries
    values["state"] = DeliveryState(values["state"])
    return Delivery(**values)
