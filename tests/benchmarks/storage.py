"""C-STORE speed beside DCMTK's: ``python -m tests.benchmarks.storage [--repeat 5] [--small 200] [--large 5]``.

Sends 200 stills of 300 KB and 5 loops of 80 MB (invented noise) over loopback, one association each, and prints for
every pair of sender and receiver the fastest and the median wall time of the whole transfer, processor time and
largest memory of the sender, and the ratio of the fastest times to DCMTK -> DCMTK. The gateway's sender measures its
own wall time, from before the association to after its release, and shows its processor time without the start of
the interpreter; DCMTK's is the life of its process. The gateway's archive brings every object to the disk before it
answers, DCMTK's storescp does not: the line "without fsync" shows what that costs.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.network.peers import free_port, wait_for_port
from tests.programs import require


@dataclass(frozen=True)
class Run:
    """One transfer: seconds, seconds of processor time of the sender, its largest memory in MB."""

    wall_s: float
    sender_cpu_s: float
    sender_rss_mb: float


Sender = Callable[[Path, int], Run]
Receiver = Callable[[], AbstractContextManager[int]]


def main() -> None:
    """Measure and print, or act as one side for a parent that measures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--small", type=int, default=200)
    parser.add_argument("--large", type=int, default=5)
    parser.add_argument("--as", dest="part", nargs="+", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.part:
        {"make": _make, "send": _send, "archive": _serve}[options.part[0]](*options.part[1:])
        return
    with tempfile.TemporaryDirectory() as name:
        for count, kilobytes in ((options.small, 300), (options.large, 80 * 1024)):
            folder = Path(name) / str(kilobytes)
            # In a process of its own: a parent that grew large would be counted into every child's memory.
            subprocess.run(_self("make", str(folder), str(count), str(kilobytes)), check=True)
            size = f"{kilobytes // 1024} MB" if kilobytes >= 1024 else f"{kilobytes} KB"
            _table(f"{count} x {size}", folder, options.repeat)


def _table(title: str, folder: Path, repeat: int) -> None:
    pairs: tuple[tuple[str, Sender, Receiver], ...] = (
        ("DCMTK -> DCMTK", _dcmtk_send, _storescp),
        ("gateway -> DCMTK", _gateway_send, _storescp),
        ("gateway -> DCMTK with Nagle on (its default)", _gateway_send, lambda: _storescp(nodelay=False)),
        ("DCMTK -> gateway archive", _dcmtk_send, _archive),
        ("DCMTK -> gateway archive without fsync", _dcmtk_send, lambda: _archive(sync=False)),
        ("gateway -> gateway archive", _gateway_send, _archive),
    )
    runs: dict[str, list[Run]] = {label: [] for label, _, _ in pairs}
    for _ in range(repeat):  # turn by turn, so that what else the machine does falls on all alike
        for label, send, receive in pairs:
            with receive() as port:
                runs[label].append(send(folder, port))
    base = min(run.wall_s for run in runs[pairs[0][0]])
    _say(f"\n{title}, {repeat} runs each")
    _say(
        f"{'sender -> receiver (TCP_NODELAY=1)':46} {'best s':>7} {'median':>7} {'ratio':>6} {'CPU s':>6} {'RSS MB':>7}"
    )
    for label, _, _ in pairs:
        walls = [run.wall_s for run in runs[label]]
        cpu = statistics.median(run.sender_cpu_s for run in runs[label])
        rss = max(run.sender_rss_mb for run in runs[label])
        line = f"{min(walls):7.3f} {statistics.median(walls):7.3f} {base / min(walls):6.2f} {cpu:6.2f} {rss:7.0f}"
        _say(f"{label:46} {line}")


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _self(*part: str) -> list[str]:
    return [sys.executable, "-m", "tests.benchmarks.storage", "--as", *part]


def _dcmtk_send(folder: Path, port: int) -> Run:
    command = [require("storescu"), "--max-send-pdu", "131072", "-aec", "ARCHIVE", "+sd", "127.0.0.1", str(port)]
    start = time.perf_counter()
    process = subprocess.Popen([*command, str(folder)], env=os.environ | {"TCP_NODELAY": "1"})
    _, status, usage = os.wait4(process.pid, 0)
    wall = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"storescu ended with {process.returncode}")
    return Run(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def _gateway_send(folder: Path, port: int) -> Run:
    output = subprocess.run(_self("send", str(folder), str(port)), check=True, capture_output=True, text=True).stdout
    wall, cpu, rss = map(float, output.split())
    return Run(wall, cpu, rss)


@contextmanager
def _storescp(*, nodelay: bool = True) -> Iterator[int]:
    port = free_port()
    environment = os.environ | ({"TCP_NODELAY": "1"} if nodelay else {})
    with tempfile.TemporaryDirectory() as folder:
        command = [require("storescp"), "--max-pdu", "131072", "-aet", "ARCHIVE", "-od", folder, "+xa", str(port)]
        process = subprocess.Popen(command, env=environment)
        try:
            wait_for_port(port)
            yield port
        finally:
            process.terminate()
            process.wait()


@contextmanager
def _archive(*, sync: bool = True) -> Iterator[int]:
    with tempfile.TemporaryDirectory() as folder:
        command = _self("archive", str(Path(folder) / "archive"), "sync" if sync else "no-sync")
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout
            yield int(process.stdout.readline())
            process.communicate("")


def _make(folder: str, count: str, kilobytes: str) -> None:
    from tests.network import objects  # noqa: PLC0415 - the measuring process stays small

    Path(folder).mkdir()
    study = objects.new_study()
    for seed in range(int(count)):
        if int(kilobytes) >= 1024:
            objects.loop(Path(folder), study, megabytes=int(kilobytes) // 1024)
        else:
            objects.image(Path(folder), study, kilobytes=int(kilobytes), seed=seed)


def _send(folder: str, port: str) -> None:
    from gateway.standard.statuses import StoreVerdict  # noqa: PLC0415
    from gateway.transports.dimse.outgoing import OutgoingFile, read_file_meta  # noqa: PLC0415
    from gateway.transports.dimse.peer import Peer  # noqa: PLC0415
    from gateway.transports.dimse.storage_scu import send_files  # noqa: PLC0415

    files = []
    for path in sorted(Path(folder).iterdir()):
        meta, _ = read_file_meta(path)
        files.append(OutgoingFile(path, meta[0x00020002], meta[0x00020003], meta[0x00020010]))
    start, cpu = time.perf_counter(), time.process_time()
    outcomes = send_files(Peer("receiver", "ARCHIVE", "127.0.0.1", int(port)), files)
    wall, cpu = time.perf_counter() - start, time.process_time() - cpu
    bad = [outcome for outcome in outcomes if outcome.verdict is not StoreVerdict.STORED]
    if bad:
        raise SystemExit(f"{len(bad)} were not stored: {bad[0]}")
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    peak_kb = next(line for line in lines if line.startswith("VmHWM")).split()[1]
    _say(f"{wall} {cpu} {int(peak_kb) / 1024}")


def _serve(folder: str, sync: str) -> None:
    from gateway.transports.dimse.archive import LoopbackArchive  # noqa: PLC0415

    if sync == "no-sync":
        os.fsync = lambda _: None
    with LoopbackArchive(Path(folder)) as archive:
        _say(str(archive.port))
        sys.stdin.read()


if __name__ == "__main__":
    main()
