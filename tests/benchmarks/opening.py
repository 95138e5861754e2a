"""How long opening 500 stills takes beside decoding them with Pillow alone.

Run it with ``python -m tests.benchmarks.opening``; it prints, and asserts nothing about time.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

from gateway.intake.loops import open_loop
from gateway.intake.stills import open_still
from gateway.shipped import shipped_path

COUNT = 500


def cpu_s(action: Callable[[], object]) -> float:
    start = time.process_time()
    action()
    return time.process_time() - start


def by_pillow(paths: list[Path]) -> None:
    for path in paths:
        with Image.open(path) as image:
            image.load()


def main() -> None:
    """Write pictures of 640 x 480 in a few kinds, open each kind, and print seconds of computing time."""
    with Image.open(shipped_path("demo-exam") / "media" / "od-t3.png") as image:
        sector = np.array(image.convert("L"))
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("grey", "neutral", "colour"):
            paths = []
            for number in range(COUNT):
                grey = np.roll(sector, number, axis=0)
                last = grey if kind == "neutral" else 255 - grey
                picture = grey if kind == "grey" else np.dstack([grey, grey, last])
                paths.append(Path(folder) / f"{kind}{number:03}.png")
                Image.fromarray(picture).save(paths[-1])
            rows = {
                "Pillow alone": cpu_s(lambda paths=paths: by_pillow(paths)),
                "stills": cpu_s(lambda paths=paths: [open_still(path, name=path.name) for path in paths]),
                "one loop": cpu_s(lambda paths=paths: open_loop(paths, name="loop")),
            }
            for name, seconds in rows.items():
                sys.stdout.write(
                    f"{COUNT} {kind:8} {name:13} {seconds:6.2f} s   {1000 * seconds / COUNT:5.2f} ms each\n"
                )


if __name__ == "__main__":
    main()
