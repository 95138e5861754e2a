"""Errors of stills and loops as files."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class MediaError(GatewayError):
    """A still or loop cannot be read."""

    code: ClassVar[str] = "media"
    exit_code: ClassVar[int] = 3
