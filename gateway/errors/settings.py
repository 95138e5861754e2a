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
        "The gateway reads its mappings and its demo exam from files that are installed with it. One of them is "
        "gone, so the installation is damaged: install the package again."
    )


class SettingsFileError(SettingsError):
    """A settings file that cannot be read at all."""

    code = "settings-file"
    explanation = (
        "The settings file is missing, is not TOML, or is not UTF-8. `gateway init` writes a commented one to "
        "start from."
    )


class UnknownSettingError(SettingsError):
    """A key that no setting has; a slip of the keyboard would otherwise silently leave the default."""

    code = "unknown-setting"
    explanation = (
        "Every key in the settings file and every GATEWAY_... variable must be one the gateway knows, because a "
        "misspelt key would quietly leave its default in force. The message names the nearest known key."
    )


class SettingValueError(SettingsError):
    """A value that its setting cannot take."""

    code = "setting-value"
    explanation = (
        "The value has the wrong type or lies outside what the setting allows; the message says what it takes."
    )


class UnknownDestinationError(SettingsError):
    """A destination that the settings do not have."""

    code = "unknown-destination"
    explanation = "Destinations are the [[destinations]] tables of the settings file; the message lists their names."
