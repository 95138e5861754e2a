from __future__ import annotations

import threading
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.pipeline.queue import LONGEST_PAUSE_S, DeliveryState, Outcome, Queue, retry_pause_s
from gateway.pipeline.store import Store
from tests.unit.pipeline.conftest import record


class Clock:
    """A clock that tests move."""

    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


def fill(store: Store, queue: Queue, uids: list[str]) -> int:
    with store.transaction() as connection:
        store.record_exam(connection, "1.2", "exam", 0)
        store.record_objects(connection, [record(uid, uid) for uid in uids])
        return queue.enqueue(connection, uids, "archive")


def test_enqueueing_twice_queues_once(store: Store) -> None:
    queue = Queue(store, "a")
    assert fill(store, queue, ["1.1", "1.2"]) == 2
    assert fill(store, queue, ["1.1", "1.2"]) == 0
    assert len(queue.claim("archive", "1.2")) == 2


def test_a_claim_is_exclusive_until_its_lease_ends(store: Store, clock: Clock) -> None:
    first = Queue(store, "a", lease_s=60, clock=clock)
    second = Queue(store, "b", lease_s=60, clock=clock)
    fill(store, first, ["1.1"])
    assert len(first.claim("archive", "1.2")) == 1
    assert second.claim("archive", "1.2") == ()
    assert second.next_due_s("archive", "1.2") == pytest.approx(60)
    clock.now += 61
    assert len(second.claim("archive", "1.2")) == 1


def test_who_lost_the_lease_cannot_finish(store: Store, clock: Clock) -> None:
    first = Queue(store, "a", lease_s=60, clock=clock)
    second = Queue(store, "b", lease_s=60, clock=clock)
    fill(store, first, ["1.1"])
    (stale,) = first.claim("archive", "1.2")
    clock.now += 61
    (taken,) = second.claim("archive", "1.2")
    assert first.finish([Outcome(stale, DeliveryState.SENT, 0)]) == (stale,)
    assert second.finish([Outcome(taken, DeliveryState.SENT, 0)]) == ()
    assert second.of_study("1.2", "archive")[0].attempts == 2


def test_renewing_keeps_a_claim(store: Store, clock: Clock) -> None:
    first = Queue(store, "a", lease_s=60, clock=clock)
    fill(store, first, ["1.1"])
    claimed = first.claim("archive", "1.2")
    clock.now += 50
    first.renew(claimed)
    clock.now += 50
    assert Queue(store, "b", clock=clock).claim("archive", "1.2") == ()


def test_a_pause_is_waited_out(store: Store, clock: Clock) -> None:
    queue = Queue(store, "a", clock=clock)
    fill(store, queue, ["1.1"])
    (claimed,) = queue.claim("archive", "1.2")
    queue.finish([Outcome(claimed, DeliveryState.WAITING, comment="busy", pause_s=10)])
    assert queue.claim("archive", "1.2") == ()
    assert queue.next_due_s("archive", "1.2") == pytest.approx(10)
    clock.now += 10
    assert queue.claim("archive", "1.2")[0].attempts == 2


def test_again_sends_what_arrived_once_more_and_plain_enqueue_does_not(store: Store) -> None:
    queue = Queue(store, "a")
    fill(store, queue, ["1.1"])
    (claimed,) = queue.claim("archive", "1.2")
    queue.finish([Outcome(claimed, DeliveryState.SENT, 0)])
    queue.mark_sent(["1.1"], "archive", DeliveryState.COMMITTED, "committed")
    assert fill(store, queue, ["1.1"]) == 0
    with store.transaction() as connection:
        assert queue.enqueue(connection, ["1.1"], "archive", again=True) == 1
    assert queue.of_study("1.2", "archive")[0].state is DeliveryState.WAITING


def test_eight_workers_share_the_work_without_doing_any_twice(tmp_path: Path) -> None:
    store = Store(tmp_path)
    uids = [f"1.{n}" for n in range(60)]
    fill(store, Queue(store, "setup"), uids)
    done: list[str] = []

    def work(name: str) -> None:
        queue = Queue(store, name)
        while claimed := queue.claim("archive", "1.2", most=3):
            queue.finish([Outcome(delivery, DeliveryState.SENT, 0) for delivery in claimed])
            done.extend(delivery.sop_instance_uid for delivery in claimed)

    workers = [threading.Thread(target=work, args=(f"w{n}",)) for n in range(8)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    store.close()
    assert sorted(done) == sorted(uids)


@given(attempt=st.integers(1, 10_000), first_s=st.floats(0.001, 60), jitter=st.floats(0, 0.999))
def test_pauses_grow_stay_bounded_and_never_vanish(attempt: int, first_s: float, jitter: float) -> None:
    pause_s = retry_pause_s(attempt, first_s, jitter=lambda: jitter)
    assert first_s / 2 <= pause_s <= LONGEST_PAUSE_S
    assert pause_s <= retry_pause_s(attempt + 1, first_s, jitter=lambda: jitter) + 1e-9


def test_what_was_refused_waits_again_when_handed_over_again(store: Store) -> None:
    queue = Queue(store, "a")
    fill(store, queue, ["1.1"])
    (claimed,) = queue.claim("archive", "1.2")
    queue.finish([Outcome(claimed, DeliveryState.REFUSED, 0xA900, "no")])
    assert fill(store, queue, ["1.1"]) == 1
    assert queue.of_study("1.2", "archive")[0].attempts == 0
