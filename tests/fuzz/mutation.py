"""How inputs are damaged."""

from __future__ import annotations

import random
from collections.abc import Sequence

_TELLING = (0, 1, 0x7F, 0x80, 0xFF, 0x0A, 0x0D, 0x20, 0x22, 0x2C, 0x30, 0x5C)
_NUMBERS = (0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF)


def damaged(rng: random.Random, pool: Sequence[bytes], dictionary: Sequence[bytes], largest: int) -> bytes:
    """Return an input of the pool after one to eight changes."""
    content = bytearray(rng.choice(pool))
    for _ in range(1 << rng.randrange(4)):
        _change(rng, content, pool, dictionary)
        del content[largest:]
    return bytes(content)


def _change(rng: random.Random, content: bytearray, pool: Sequence[bytes], dictionary: Sequence[bytes]) -> None:
    at = rng.randrange(len(content) + 1)
    length = min(1 << rng.randrange(9), len(content))
    kind = rng.randrange(9)
    if kind == 0 and content:
        content[at % len(content)] ^= 1 << rng.randrange(rng.choice((7, 8)))
    elif kind == 1 and content:
        content[at % len(content)] = rng.choice(_TELLING)
    elif kind == 2:
        del content[at : at + length]
    elif kind == 3:
        content[at:at] = content[at : at + length]
    elif kind == 4:
        other = rng.choice(pool)
        start = rng.randrange(len(other) + 1)
        content[at : at + length] = other[start : start + length]
    elif kind == 5 and rng.randrange(4) == 0:
        del content[at:]
    elif kind == 6 and dictionary:
        piece = rng.choice(dictionary)
        content[at : at + rng.choice((0, len(piece)))] = piece
    elif kind == 7:
        width = rng.choice((1, 2, 4))
        number = rng.choice(_NUMBERS) & ((1 << (8 * width)) - 1)
        content[at : at + width] = number.to_bytes(width, rng.choice(("little", "big")))
    else:
        # Text readers refuse most other bytes at once, so half of the pieces are printable.
        low, high = rng.choice(((0, 256), (32, 127)))
        piece = bytes(rng.randrange(low, high) for _ in range(rng.randrange(1, 5)))
        content[at:at] = piece * (rng.randrange(1, 200) if rng.randrange(50) == 0 else 1)
