"""Errors of the local store, spool and queue."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class StoreError(GatewayError):
    """The local store, spool or queue refused."""

    code: ClassVar[str] = "store"
    exit_code: ClassVar[int] = 5
