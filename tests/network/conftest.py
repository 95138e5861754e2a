"""What network tests share: a running archive, a study, and the check that nothing is left running."""

from __future__ import annotations

import gc
import threading
import time
from collections.abc import Iterator

import pytest

from gateway.transports.dimse.archive import LoopbackArchive
from gateway.transports.dimse.peer import Peer
from tests.network import objects


@pytest.fixture(autouse=True)
def _nothing_left_running() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    end = time.monotonic() + 5
    while left := [thread for thread in threading.enumerate() if thread not in before]:
        assert time.monotonic() < end, f"still running: {left}"
        time.sleep(0.01)
    gc.collect()  # an unclosed socket warns when it is collected, and warnings are errors


@pytest.fixture
def study() -> objects.Study:
    return objects.new_study()


@pytest.fixture
def sent(tmp_path):
    folder = tmp_path / "sent"
    folder.mkdir()
    return folder


@pytest.fixture
def archive(tmp_path) -> Iterator[LoopbackArchive]:
    with LoopbackArchive(tmp_path / "archive") as running:
        yield running


@pytest.fixture
def peer(archive) -> Peer:
    return Peer("archive-1", "ARCHIVE", "127.0.0.1", archive.port, answer_timeout_s=20, stall_timeout_s=10)
