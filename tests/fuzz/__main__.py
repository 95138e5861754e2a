"""``python -m tests.fuzz READER... [--seconds 60] [--seed N] [--keep DIR]``; without a reader, all of them."""

from __future__ import annotations

import argparse
import hashlib
import sys
import time
from pathlib import Path

from tests.fuzz.registry import TARGETS
from tests.fuzz.running import fuzz, summary


def main() -> int:
    """Fuzz the named readers; 1 where anything was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description="Damaged input for readers.")
    parser.add_argument("readers", nargs="*", metavar="READER", help=f"{', '.join(TARGETS)}; all without one")
    parser.add_argument("--seconds", type=float, default=60.0, help="how long each reader runs")
    parser.add_argument("--seed", type=int, default=int(time.time()), help="the same seed makes the same inputs")
    parser.add_argument("--keep", type=Path, help="folder for the inputs of findings")
    options = parser.parse_args()
    unknown = set(options.readers) - set(TARGETS)
    if unknown:
        parser.error(f"no such reader: {', '.join(sorted(unknown))}; there are {', '.join(TARGETS)}")
    found = False
    for name in options.readers or TARGETS:
        account = fuzz(name, seconds=options.seconds, seed=options.seed)
        print(f"seed {options.seed}; {summary(name, account)}", flush=True)  # noqa: T201  a command's output
        found = found or bool(account.findings)
        if options.keep:
            _keep(options.keep, name, list(account.findings.values()))
    return int(found)


def _keep(folder: Path, name: str, inputs: list[str]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for text in inputs:
        content = bytes.fromhex(text)
        (folder / f"{name}-{hashlib.sha256(content).hexdigest()[:12]}").write_bytes(content)


if __name__ == "__main__":
    sys.exit(main())
