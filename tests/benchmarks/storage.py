"""C-STORE speed beside DCMTK's: ``python -m tests.benchmarks.storage [--repeat 3] [--small 200] [--large 5]``.

Sends 200 stills of 300 KB and 5 loops of 80 MB (invented noise) over loopback, one association each, and prints the
median wall time of every pair of sender and receiver, its processor time, and its ratio to DCMTK -> DCMTK. Senders
run in processes of their own, so the interpreter's start (printed too) is part of their time unless stated: the
column "wall" is what the sender itself measured around its association, "process" is the whole process.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from gateway.standard.statuses import StoreVerdict
from gateway.transports.dimse.archive import LoopbackArchive
from gateway.transports.dimse.outgoing import OutgoingFile, read_file_meta
from gateway.transports.dimse.peer import Peer
from gateway.transports.dimse.storage_scu import send_files
from tests.network import objects
from tests.programs import require


@dataclass(frozen=True)
class Run:
    """One measured transfer: seconds, seconds of processor time of the sender, its largest memory in MB."""

    wall_s: float
    sender_cpu_s: float
    sender_rss_mb: float


def main() -> None:
    """Measure and print."""
    options = _options()
    if options.send:
        _send_here(options.send, options.port)
        return
    if options.archive:
        _serve_here(Path(options.archive))
        return
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        for label, count, kind in (("300 KB", options.small, "small"), ("80 MB", options.large, "large")):
            folder = root / kind
            folder.mkdir()
            study = objects.new_study()
            for seed in range(count):
                if kind == "small":
                    objects.image(folder, study, kilobytes=300, seed=seed)
                else:
                    objects.loop(folder, study, megabytes=80)
            _table(f"{count} x {label}", folder, options.repeat)
            shutil.rmtree(folder)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--small", type=int, default=200)
    parser.add_argument("--large", type=int, default=5)
    parser.add_argument("--send", help=argparse.SUPPRESS)
    parser.add_argument("--archive", help=argparse.SUPPRESS)
    parser.add_argument("--port", type=int, help=argparse.SUPPRESS)
    return parser.parse_args()


def _table(title: str, folder: Path, repeat: int) -> None:
    base: float | None = None
    print(f"\n{title}: {repeat} runs each, median")
    print(f"{'sender -> receiver':48} {'wall s':>8} {'ratio':>6} {'sender CPU s':>13} {'sender RSS MB':>14}")
    for label, send, receive in (
        ("DCMTK -> DCMTK, TCP_NODELAY=1", _dcmtk_send, lambda: _storescp(nodelay=True)),
        ("gateway -> DCMTK, TCP_NODELAY=1", _gateway_send, lambda: _storescp(nodelay=True)),
        ("gateway -> DCMTK, defaults (Nagle on)", _gateway_send, lambda: _storescp(nodelay=False)),
        ("DCMTK -> gateway archive, TCP_NODELAY=1", _dcmtk_send, _archive),
        ("gateway -> gateway archive", _gateway_send, _archive),
    ):
        runs = []
        for _ in range(repeat):
            with receive() as port:
                runs.append(send(folder, port))
        wall = statistics.median(run.wall_s for run in runs)
        base = base or wall
        cpu = statistics.median(run.sender_cpu_s for run in runs)
        rss = max(run.sender_rss_mb for run in runs)
        print(f"{label:48} {wall:8.3f} {base / wall:6.2f} {cpu:13.2f} {rss:14.0f}", flush=True)


def _measured(command: list[str], environment: dict[str, str]) -> tuple[str, Run]:
    start = time.perf_counter()
    process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
    output = process.stdout.read() if process.stdout else ""
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    wall = time.perf_counter() - start
    if process.stdout:
        process.stdout.close()
    if process.returncode:
        raise SystemExit(f"{command[0]} ended with {process.returncode}: {output}")
    return output, Run(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def _dcmtk_send(folder: Path, port: int) -> Run:
    command = [require("storescu"), "--max-send-pdu", "131072", "-aec", "ARCHIVE", "+sd", "127.0.0.1", str(port)]
    _, run = _measured([*command, str(folder)], os.environ | {"TCP_NODELAY": "1"})
    return run


def _gateway_send(folder: Path, port: int) -> Run:
    command = [sys.executable, "-m", "tests.benchmarks.storage", "--send", str(folder), "--port", str(port)]
    output, run = _measured(command, dict(os.environ))
    return Run(float(output.split()[-1]), run.sender_cpu_s, run.sender_rss_mb)


def _send_here(folder: str, port: int) -> None:
    files = []
    for path in sorted(Path(folder).iterdir()):
        meta, _ = read_file_meta(path)
        files.append(OutgoingFile(path, meta[0x00020002], meta[0x00020003], meta[0x00020010]))
    start = time.perf_counter()
    outcomes = send_files(Peer("receiver", "ARCHIVE", "127.0.0.1", port), files)
    wall = time.perf_counter() - start
    bad = [outcome for outcome in outcomes if outcome.verdict is not StoreVerdict.STORED]
    if bad:
        raise SystemExit(f"{len(bad)} were not stored: {bad[0]}")
    print(wall)


@contextmanager
def _storescp(*, nodelay: bool) -> Iterator[int]:
    with tempfile.TemporaryDirectory() as folder, socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        environment = os.environ | ({"TCP_NODELAY": "1"} if nodelay else {})
        command = [require("storescp"), "--max-pdu", "131072", "-aet", "ARCHIVE", "-od", folder, "+xa", str(port)]
        process = subprocess.Popen(command, env=environment)
        try:
            wait_for_port(port)
            yield port
        finally:
            process.terminate()
            process.wait()


@contextmanager
def _archive() -> Iterator[int]:
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "tests.benchmarks.storage", "--archive", str(Path(folder) / "archive")]
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert process.stdin and process.stdout
        try:
            yield int(process.stdout.readline())
        finally:
            output, _ = process.communicate("")
            if "--verbose" in sys.argv:
                print(output)


def _serve_here(folder: Path) -> None:
    with LoopbackArchive(folder) as archive:
        print(archive.port, flush=True)
        sys.stdin.read()
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, threading.active_count())


def wait_for_port(port: int, timeout_s: float = 10.0) -> None:
    """Wait until something listens on a port of this machine."""
    end = time.monotonic() + timeout_s
    while True:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        if time.monotonic() > end:
            raise TimeoutError(f"nothing listens on port {port}")
        time.sleep(0.02)


if __name__ == "__main__":
    main()
