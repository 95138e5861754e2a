"""Pulse and echo: time of flight to distance and back, one layer or several, and change of assumed speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gateway.errors.measurement import MeasurementError, SpeedNotPhysicalError

SLOWEST_M_PER_S = 300.0
FASTEST_M_PER_S = 8000.0
"""Outside this range a speed is taken for a slip: whole gas-filled eyes average 534 m/s (Hoffer 1994), implants reach
about 2,700 m/s."""


def checked_speed(speed_m_per_s: float) -> float:
    """Return the speed if something near an eye could have it.

    Raises
    ------
    SpeedNotPhysicalError
        If it lies outside 300 to 8000 m/s.
    """
    if not SLOWEST_M_PER_S <= speed_m_per_s <= FASTEST_M_PER_S:
        raise SpeedNotPhysicalError(
            "no tissue has this speed of sound",
            was=f"{speed_m_per_s:g} m/s",
            fix="write it in metres per second, e.g. 1532",
        )
    return speed_m_per_s


def checked_speeds(speeds_m_per_s: ArrayLike) -> NDArray[np.float64]:
    """Return many speeds at once, each as `checked_speed` asks.

    Raises
    ------
    SpeedNotPhysicalError
        Naming the first that lies outside 300 to 8000 m/s.
    """
    speeds = np.asarray(speeds_m_per_s, dtype=np.float64)
    odd = ~((speeds >= SLOWEST_M_PER_S) & (speeds <= FASTEST_M_PER_S))
    if np.any(odd):
        checked_speed(float(speeds[odd].flat[0]))
    return speeds


def distance_mm(round_trip_time_us: ArrayLike, speed_m_per_s: float) -> NDArray[np.float64]:
    """Return the distance from the time of an echo's round trip: ``d = v t / 2``.

    Parameters
    ----------
    round_trip_time_us : array_like
        Microseconds; zero or more.
    speed_m_per_s : float

    Raises
    ------
    SpeedNotPhysicalError, MeasurementError
        For a speed out of range, or a time before the pulse.
    """
    time_us = np.asarray(round_trip_time_us, dtype=np.float64)
    if np.any(time_us < 0) or not np.all(np.isfinite(time_us)):
        raise MeasurementError("an echo cannot come before its pulse", fix="give the time from pulse to echo")
    return time_us * checked_speed(speed_m_per_s) / 2000.0


def round_trip_time_us(distance: ArrayLike, speed_m_per_s: float) -> NDArray[np.float64]:
    """Return the time of an echo's round trip over a distance in mm: ``t = 2 d / v``, in microseconds."""
    return np.asarray(distance, dtype=np.float64) * 2000.0 / checked_speed(speed_m_per_s)


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer along a beam."""

    thickness_mm: float
    speed_m_per_s: float


def layered_time_us(layers: Sequence[Layer]) -> float:
    """Return the round-trip time through layers one after the other, in microseconds."""
    return float(sum(round_trip_time_us(layer.thickness_mm, layer.speed_m_per_s) for layer in layers))


def effective_speed_m_per_s(layers: Sequence[Layer]) -> float:
    """Return the one speed that gives the same total time over the same total distance."""
    return sum(layer.thickness_mm for layer in layers) * 2000.0 / layered_time_us(layers)


def for_other_speed(length: ArrayLike, assumed_m_per_s: float, speed_m_per_s: float) -> NDArray[np.float64]:
    """Re-scale a length along a beam from the speed it was shown at to another: ``L v / v_assumed``."""
    return np.asarray(length, dtype=np.float64) * checked_speed(speed_m_per_s) / checked_speed(assumed_m_per_s)
