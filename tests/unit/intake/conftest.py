from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

Picture = np.ndarray


def smooth_picture(seed: int = 0, rows: int = 48, columns: int = 64) -> Picture:
    """A grey picture with soft structure, so that lossy coding has something to keep."""
    grains = np.random.default_rng(seed).integers(0, 256, (rows // 8, columns // 8), dtype=np.uint8)
    return np.asarray(Image.fromarray(grains).resize((columns, rows), Image.Resampling.BICUBIC))


@pytest.fixture
def picture() -> Picture:
    return smooth_picture()


@pytest.fixture
def loop_frames() -> list[Picture]:
    """Twelve different frames: the picture moves on by three pixels each time."""
    picture = smooth_picture(seed=1)
    return [np.roll(picture, 3 * step, axis=1) for step in range(12)]
