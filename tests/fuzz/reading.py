"""The process in which a reader meets damaged inputs: it watches time and memory of each and tells what came out."""

from __future__ import annotations

import json
import os
import random
import resource
import signal
import sys
import time
import traceback
import warnings
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import NoReturn

from gateway.errors import GatewayError
from tests.fuzz.mutation import damaged
from tests.fuzz.registry import load
from tests.fuzz.target import Target

MOST_BYTES_MORE = 300 * 1024 * 1024
"""How far the process may grow beyond what it has after reading every seed."""
_MOST_ADDRESSES_MORE = 2 * 1024**3
"""Address space is taken in large pieces by threads, so this only stops a run-away before it hurts the machine."""
_MOST_KINDS = 20
_MOST_POOLED = 400


class TooLongError(BaseException):
    """One input took too much computing time; not an Exception, so that no reader can swallow it."""


@dataclass(slots=True)
class Account:
    """What a run came to."""

    inputs: int = 0
    accepted: int = 0
    refused: dict[str, int] = field(default_factory=dict)
    findings: dict[str, str] = field(default_factory=dict)
    """What came out that must not, with the input in hexadecimal."""
    slowest_s: float = 0.0
    grown_mib: float = 0.0


def run(target: Target, *, seconds: float, seed: int, current: Path) -> Account:
    """Read damaged inputs for a while.

    Parameters
    ----------
    current : Path
        Always holds the input that is being read, should the process die with it.
    """
    signal.signal(signal.SIGVTALRM, _stop)
    rng = random.Random(seed)  # noqa: S311  damage, not secrets
    account, pool, seen = Account(), list(target.seeds()), set()
    handle = os.open(current, os.O_RDWR | os.O_CREAT)
    for content in pool:
        target.read(content)
    base = _peak_bytes()
    _limit_addresses()
    end = time.monotonic() + seconds
    while time.monotonic() < end and len(account.findings) < _MOST_KINDS:
        content = damaged(rng, pool, target.dictionary, target.largest)
        os.pwrite(handle, content, 0)
        os.ftruncate(handle, len(content))
        outcome = _read(target, content, account)
        if outcome not in seen and len(pool) < _MOST_POOLED:
            # An input that gets a new answer has reached a new corner, and is worth damaging further.
            seen.add(outcome)
            pool.append(content)
        grown = _peak_bytes() - base
        account.grown_mib = grown / 1024**2
        if grown > MOST_BYTES_MORE:
            account.findings["memory grew too far"] = content.hex()
            break
    os.close(handle)
    return account


def _read(target: Target, content: bytes, account: Account) -> str:
    account.inputs += 1
    started = time.process_time()
    signal.setitimer(signal.ITIMER_VIRTUAL, target.seconds_per_input)
    try:
        target.read(content)
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        account.accepted += 1
        return "accepted"
    except GatewayError as error:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        account.refused[error.code] = account.refused.get(error.code, 0) + 1
        return f"{error.code} {error.what}"
    except (Exception, TooLongError) as error:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        return account.findings.setdefault(_kind(error), content.hex())
    finally:
        account.slowest_s = max(account.slowest_s, time.process_time() - started)


def _kind(error: BaseException) -> str:
    """Name an error by its class and the line it came from, so that one fault counts once."""
    frames = traceback.extract_tb(error.__traceback__)
    at = [f"{Path(frame.filename).name}:{frame.lineno}" for frame in frames if "fuzz" not in frame.filename]
    words = str(error)[:200]
    return f"{type(error).__name__} at {' < '.join(reversed(at[-3:]))}: {words}"


def _stop(_signal: int, _frame: object) -> NoReturn:
    raise TooLongError("too much computing time for one input")


def _peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def _limit_addresses() -> None:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    limit = pages * resource.getpagesize() + _MOST_ADDRESSES_MORE
    resource.setrlimit(resource.RLIMIT_AS, (limit, resource.RLIM_INFINITY))


def main() -> None:
    """Run from the command line: target, seconds, seed, file for the current input; prints the account as JSON."""
    name, seconds, seed, current = sys.argv[1:5]
    warnings.simplefilter("ignore")
    account = run(load(name), seconds=float(seconds), seed=int(seed), current=Path(current))
    sys.stdout.write(json.dumps(asdict(account)))


if __name__ == "__main__":
    main()
