"""What is fuzzed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Target:
    """A reader.

    Parameters
    ----------
    seeds : callable
        Whole inputs that the reader accepts; damaged ones are made of them.
    read : callable
        Reads one input; anything but a return or a `GatewayError` is a finding.
    dictionary : tuple of bytes
        Pieces that mean something to the reader.
    largest : int
        No input is made larger than this, in bytes.
    seconds_per_input : float
        Computing time within which one input must be answered.
    """

    seeds: Callable[[], Sequence[bytes]]
    read: Callable[[bytes], object]
    dictionary: tuple[bytes, ...] = ()
    largest: int = 65536
    seconds_per_input: float = 5.0
