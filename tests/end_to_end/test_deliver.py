"""An exam folder, in one command, to archives of another toolkit (DCMTK)."""

from __future__ import annotations

import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from tests.end_to_end.conftest import gateway
from tests.end_to_end.small_exam import write_small_exam
from tests.programs import require


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running(command: list[str], port: int, folder: Path) -> Iterator[None]:
    """Start a server and wait until it listens."""
    with subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as server:
        try:
            for _ in range(200):
                with closing(socket.socket()) as probe:
                    if probe.connect_ex(("127.0.0.1", port)) == 0:
                        break
                time.sleep(0.05)
            else:
                pytest.fail("the server did not start")
            yield
        finally:
            server.terminate()


def settings(folder: Path, port: int, ae_title: str) -> Path:
    path = folder / "gateway.toml"
    path.write_text(
        f'[[destinations]]\nname = "other"\nae_title = "{ae_title}"\nhost = "127.0.0.1"\nport = {port}\n'
        "storage_commitment = false\nattempts = 2\nfirst_retry_s = 0.05\n",
        encoding="utf-8",
    )
    return path


@pytest.fixture
def query_archive(tmp_path: Path) -> Iterator[int]:
    """dcmqrscp of DCMTK: an archive that stores and answers queries."""
    port = free_port()
    archive = tmp_path / "other"
    archive.mkdir()
    config = tmp_path / "dcmqrscp.cfg"
    config.write_text(
        f"NetworkTCPPort = {port}\nMaxPDUSize = 16384\nMaxAssociations = 16\n"
        "HostTable BEGIN\nHostTable END\nVendorTable BEGIN\nVendorTable END\n"
        f"AETable BEGIN\nOTHER {archive} RW (200, 1024mb) ANY\nAETable END\n",
        encoding="utf-8",
    )
    with running([require("dcmqrscp"), "-c", str(config)], port, tmp_path):
        yield port


def test_everything_is_stored_and_listed_by_an_archive_of_another_toolkit(tmp_path: Path, query_archive: int) -> None:
    exam = write_small_exam(tmp_path / "exam")
    file = settings(tmp_path, query_archive, "OTHER")
    printed = gateway("deliver", exam, "--settings", file, cwd=tmp_path)
    assert printed.count("listed by a query, not committed") == 5
    assert len([p for p in (tmp_path / "other").iterdir() if p.name != "index.dat" and p.is_file()]) == 5


def test_delivering_twice_sends_nothing_again(tmp_path: Path, query_archive: int) -> None:
    exam = write_small_exam(tmp_path / "exam")
    file = settings(tmp_path, query_archive, "OTHER")
    gateway("deliver", exam, "--settings", file, cwd=tmp_path)
    before = {p.name: p.stat().st_mtime_ns for p in (tmp_path / "other").glob("US*")}
    gateway("deliver", exam, "--settings", file, cwd=tmp_path)
    assert {p.name: p.stat().st_mtime_ns for p in (tmp_path / "other").glob("US*")} == before


def test_an_archive_that_cannot_answer_queries_leaves_objects_sent_and_says_so(tmp_path: Path) -> None:
    port = free_port()
    stored = tmp_path / "stored"
    stored.mkdir()
    with running([require("storescp"), "-od", str(stored), "-aet", "PLAIN", str(port)], port, tmp_path):
        exam = write_small_exam(tmp_path / "exam")
        printed = gateway("deliver", exam, "--settings", settings(tmp_path, port, "PLAIN"), cwd=tmp_path, code=4)
    assert "does not list it" in printed
    assert len(list(stored.iterdir())) == 5


def test_nobody_there_is_tried_again_then_left_with_the_reason_and_taken_up_when_handed_over_again(
    tmp_path: Path,
) -> None:
    exam = write_small_exam(tmp_path / "exam")
    port = free_port()
    file = settings(tmp_path, port, "LATER")
    printed = gateway("deliver", exam, "--settings", file, cwd=tmp_path, code=4)
    assert "given up after 2 attempts" in printed
    stored = tmp_path / "stored"
    stored.mkdir()
    with running([require("storescp"), "-od", str(stored), "-aet", "LATER", str(port)], port, tmp_path):
        gateway("deliver", exam, "--settings", file, cwd=tmp_path, code=4)
    assert len(list(stored.iterdir())) == 5


def test_an_unknown_destination_names_the_known_ones(tmp_path: Path) -> None:
    exam = write_small_exam(tmp_path / "exam")
    file = settings(tmp_path, 1, "X")
    printed = gateway("deliver", exam, "--settings", file, "--to", "hospitl", cwd=tmp_path, code=3)
    assert "known are other" in printed
