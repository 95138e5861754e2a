"""Errors of other systems on the network; temporary or permanent decides retry."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class PeerError(GatewayError):
    """Another system on the network."""

    code: ClassVar[str] = "peer"
    exit_code: ClassVar[int] = 4
