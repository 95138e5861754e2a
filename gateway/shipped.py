"""Where the files that ship with the gateway lie: mappings and the demo exam."""

from __future__ import annotations

from pathlib import Path

from gateway.errors.settings import ShippedFileMissingError


def shipped_path(name: str) -> Path:
    """Return the path of a shipped file or folder, e.g. ``mappings/speeds.yaml`` or ``demo-exam``.

    An installed package carries them inside itself; a source checkout keeps them at its top level.

    Raises
    ------
    ShippedFileMissingError
        If the installation is incomplete.
    """
    package = Path(__file__).parent
    checkout = package.parent
    for candidate in (package / "_shipped" / name, checkout / name, checkout / "fixtures" / name):
        if candidate.exists():
            return candidate
    raise ShippedFileMissingError("a file that ships with the gateway is missing", where=name, fix="install it again")
