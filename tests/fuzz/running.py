"""Runs a target in a process of its own and outlives whatever happens there."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.fuzz.reading import Account

_MOST_SECONDS_MORE = 120


def fuzz(name: str, *, seconds: float, seed: int) -> Account:
    """Fuzz one target.

    Returns
    -------
    Account
        With a finding also where the process died or hung outside Python.
    """
    with TemporaryDirectory() as folder:
        current = Path(folder) / "input"
        command = [sys.executable, "-m", "tests.fuzz.reading", name, str(seconds), str(seed), str(current)]
        try:
            done = subprocess.run(
                command,
                cwd=Path(__file__).parents[2],
                capture_output=True,
                text=True,
                timeout=seconds + _MOST_SECONDS_MORE,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return Account(findings={"hung": current.read_bytes().hex()})
        if done.returncode:
            reason = f"died with {done.returncode}: {done.stderr[-2000:]}"
            return Account(findings={reason: current.read_bytes().hex() if current.exists() else ""})
    return Account(**json.loads(done.stdout))


def summary(name: str, account: Account) -> str:
    """Return what a run came to, in words."""
    lines = [
        f"{name}: {account.inputs} inputs, {account.accepted} accepted, {sum(account.refused.values())} refused, "
        f"slowest {account.slowest_s:.2f} s, memory grew {account.grown_mib:.0f} MiB, "
        f"{len(account.findings)} findings",
        *(f"  {count:8d}  {code}" for code, count in sorted(account.refused.items(), key=lambda row: -row[1])),
        *(f"  FINDING {what}\n    input {content[:400]}" for what, content in account.findings.items()),
    ]
    return "\n".join(lines)
