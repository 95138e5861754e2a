"""Errors of settings files and values."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class SettingsError(GatewayError):
    """A settings file or value cannot be used."""

    code: ClassVar[str] = "settings"
    exit_code: ClassVar[int] = 3


class ShippedFileMissingError(SettingsError):
    """A file of the installation is not where it should be."""

    code = "shipped-file-missing"
    explanation = (
        "The gateway reads its mappings and its demo exam from files that are installed with it. One of them is gone, "
        "so the installation is damaged: install the package again."
    )
