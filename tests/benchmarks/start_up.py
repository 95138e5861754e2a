"""How long ``gateway --help`` takes beside the import of its command-line library alone.

Run it with ``python -m tests.benchmarks.start_up``; it prints, and asserts nothing about time.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

RUNS = 15


def wall_s(*arguments: str) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def main() -> None:
    """Alternate both commands, so that neither has the warmer machine, and print medians and their ratio."""
    helps, imports = [], []
    for _ in range(RUNS):
        imports.append(wall_s("-c", "import typer"))
        helps.append(wall_s("-m", "gateway", "--help"))
    typer_ms, help_ms = 1000 * statistics.median(imports), 1000 * statistics.median(helps)
    sys.stdout.write(f"import typer    {typer_ms:6.0f} ms\ngateway --help  {help_ms:6.0f} ms\n")
    sys.stdout.write(f"ratio           {help_ms / typer_ms:6.2f}   (bar: under 2)\n")


if __name__ == "__main__":
    main()
