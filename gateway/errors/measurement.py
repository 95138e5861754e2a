"""Errors of measuring mathematics and of measurements that do not agree with themselves."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class MeasurementError(GatewayError):
    """A length, angle or area cannot be computed or trusted."""

    code: ClassVar[str] = "measurement"
    exit_code: ClassVar[int] = 3
