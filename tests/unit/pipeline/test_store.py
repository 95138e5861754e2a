from __future__ import annotations

import sqlite3
import stat
from pathlib import Path

import pytest

from gateway.errors.store import SameUidOtherContentError, StoreUnavailableError
from gateway.pipeline.store import ExamState, Store
from tests.unit.pipeline.conftest import record


def test_the_first_creation_time_is_remembered_for_ever(tmp_path: Path) -> None:
    store = Store(tmp_path)
    first = store.created("1.2.3")
    store.close()
    again = Store(tmp_path)
    assert again.created("1.2.3") == first
    assert again.created("1.2.4") > first
    again.close()


def test_same_uid_with_other_bytes_is_refused_and_nothing_is_written(store: Store) -> None:
    with store.transaction() as connection:
        store.record_exam(connection, "1.2", "exam", 0)
        store.record_objects(connection, [record("1.2.3", "aa")])

    def overwrite() -> None:
        with store.transaction() as connection:
            store.record_exam(connection, "1.2", "renamed", 3)
            store.record_objects(connection, [record("1.2.3", "bb")])

    with pytest.raises(SameUidOtherContentError):
        overwrite()
    with store.transaction() as connection:
        assert connection.exec_driver_sql("SELECT exam_key, held_parts FROM exams").one() == ("exam", 0)


def test_exam_state_is_kept(store: Store) -> None:
    assert store.exam_state("1.2") is None
    with store.transaction() as connection:
        store.record_exam(connection, "1.2", "exam", 0)
    store.set_exam_state("1.2", ExamState.STORED)
    assert store.exam_state("1.2") is ExamState.STORED


def test_the_database_is_written_ahead_fully_synchronised_and_private(store: Store, tmp_path: Path) -> None:
    with store.transaction() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
    file = tmp_path / "data" / "gateway.sqlite"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_a_database_of_a_newer_gateway_is_refused(tmp_path: Path) -> None:
    Store(tmp_path).close()
    with sqlite3.connect(tmp_path / "gateway.sqlite") as connection:
        connection.execute("UPDATE schema SET version = 99")
    connection.close()
    with pytest.raises(StoreUnavailableError, match="newer"):
        Store(tmp_path)


def test_a_folder_that_cannot_be_used_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreUnavailableError, match="database cannot be used"):
        Store(tmp_path / "file")
