"""How long ten thousand calipers take for another speed of sound, in one call and one by one.

Run it with ``python -m tests.benchmarks.caliper_corrections``; it prints, and asserts nothing about time.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

from gateway.acoustics.beams import corrected_lengths_mm, for_other_speed_mm
from gateway.acoustics.media_paths import through_media_mm
from gateway.model.calibration import Calibration, DepthAxis, Geometry, Point, SectorGeometry
from gateway.model.measurement import Medium, TissueSpeed

COUNT = 10_000
RUNS = 15
BAR_MS = 50.0
SECTOR = Calibration(0.0625, 0.05, DepthAxis.LEFT_TO_RIGHT, SectorGeometry(Point(-112.0, 240.0), 8.0, 52.0), 1550.0)
LINEAR = Calibration(0.0625, 0.05, DepthAxis.TOP_DOWN, None, 1550.0, geometry=Geometry.LINEAR)
MEDIA = (
    Medium(TissueSpeed(1532.0, "vitreous", "")),
    Medium(TissueSpeed(1550.0, "tumour", ""), tuple(Point(300.0 + y % 7, float(y)) for y in range(-500, 1000, 10))),
)


def median_ms(work: Callable[[], object], runs: int = RUNS) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1000 * statistics.median(times)


def main() -> None:
    """Print each way beside the other."""
    rng = np.random.default_rng(1)
    points = rng.uniform([30, 20], [600, 460], (COUNT, 2, 2))
    speeds = rng.uniform(980, 1641, COUNT)

    def one_by_one(calibration: Calibration) -> list[float]:
        return [
            float(np.linalg.norm(np.diff(for_other_speed_mm(pair, calibration, speed), axis=0)))
            for pair, speed in zip(points, speeds, strict=True)
        ]

    for name, calibration in (("sector", SECTOR), ("linear", LINEAR)):
        together = median_ms(lambda at=calibration: corrected_lengths_mm(points, at, speeds))
        alone = median_ms(lambda at=calibration: one_by_one(at), runs=3)
        sys.stdout.write(
            f"{name}: {COUNT} calipers  in one call {together:7.2f} ms (bar: {BAR_MS:g} ms)   "
            f"one by one {alone:8.1f} ms   {alone / together:6.0f} times\n"
        )
    layered = median_ms(lambda: through_media_mm(points, SECTOR, MEDIA))
    sys.stdout.write(
        f"sector: {COUNT} calipers  through two media in one call {layered:7.2f} ms (bar: {BAR_MS:g} ms)\n"
    )


if __name__ == "__main__":
    main()
