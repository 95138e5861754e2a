"""What a pulse can tell apart: wavelength and axial resolution."""

from __future__ import annotations

from gateway.acoustics.pulse_echo import checked_speed
from gateway.model.session import Probe


def wavelength_mm(speed_m_per_s: float, frequency_mhz: float) -> float:
    """Return the wavelength: ``c / f``."""
    return checked_speed(speed_m_per_s) / frequency_mhz / 1000.0


def axial_resolution_mm(probe: Probe, speed_m_per_s: float) -> float | None:
    """Return half the length of the pulse: ``c n / (2 f)``, or ``c / (2 B)`` from the bandwidth.

    The frequency alone does not tell how long the pulse is; None where neither cycles nor bandwidth is stated. Where
    both are, the number of cycles counts, because it says the length of the pulse itself.
    """
    if probe.cycles is not None and probe.nominal_frequency_mhz is not None:
        return probe.cycles * wavelength_mm(speed_m_per_s, probe.nominal_frequency_mhz) / 2
    if probe.bandwidth_mhz is not None:
        return wavelength_mm(speed_m_per_s, probe.bandwidth_mhz) / 2
    return None


def pulse_time_us(probe: Probe) -> float | None:
    """Return how long the pulse lasts, in microseconds: ``n / f``, or ``1 / B``; None as in `axial_resolution_mm`."""
    if probe.cycles is not None and probe.nominal_frequency_mhz is not None:
        return probe.cycles / probe.nominal_frequency_mhz
    return 1 / probe.bandwidth_mhz if probe.bandwidth_mhz is not None else None
