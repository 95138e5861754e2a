"""Reading ``gateway.toml`` and ``GATEWAY_...`` variables into settings, with errors that name file, line and key."""

from __future__ import annotations

import dataclasses
import difflib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from gateway.builders.overrides import check_overrides
from gateway.errors import Place
from gateway.errors.settings import SettingsError, SettingsFileError, SettingValueError, UnknownSettingError
from gateway.mapping.local_times import zone_named
from gateway.model.destination_override import DestinationOverride
from gateway.settings import (
    DestinationSettings,
    NetworkSettings,
    OverrideSettings,
    Settings,
    SiteSettings,
    StoreSettings,
)

_ATTRIBUTE = re.compile(r"^[^#]*?\battribute\b[\"']?\s*=|(?<=[{,])\s*attribute\s*=")
DEFAULT_FILE = "gateway.toml"

_SECTIONS = {"site": SiteSettings, "store": StoreSettings, "network": NetworkSettings}
_UID_ROOT = r"(?=.{1,43}$)(0|[1-9]\d*)(\.(0|[1-9]\d*))*"
_AE_TITLE = r"(?=.*[^ ])[ -\[\]-~]{1,16}"
_CHOICES = {
    ("site", "series_by"): ("eye-and-kind", "position"),
    ("site", "general_equipment"): ("device", "gateway"),
}


def read_settings(path: Path | None, environment: Mapping[str, str]) -> Settings:
    """Read settings from a file and from the environment; the environment wins.

    Parameters
    ----------
    path : Path or None
        None: ``gateway.toml`` in the current folder if there is one, else defaults alone.
    environment : mapping
        Usually ``os.environ``.

    Raises
    ------
    SettingsFileError, UnknownSettingError, SettingValueError
    """
    file = path or Path(DEFAULT_FILE)
    text = ""
    if path is not None or file.exists():
        text = _text(file)
    content = _toml(text, file)
    _refuse_unknown(content, text, file)
    _add_environment(content, environment)
    return _validated(content, text, file)


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsFileError(
            "the settings file cannot be read", where=str(file), was=str(error), fix="write one with gateway init"
        ) from error


def _toml(text: str, file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsFileError("the settings file is not TOML", where=str(file), was=str(error)) from error


def _line_of(text: str, key: str) -> int | None:
    for number, line in enumerate(text.splitlines(), 1):
        if re.match(rf"\s*\[*\s*[\"']?{re.escape(key)}\b", line):
            return number
    return None


def _refuse_unknown(content: Mapping[str, Any], text: str, file: Path) -> None:
    """Name the first key that no setting has, with its line and the nearest key that exists."""

    def check(found: Mapping[str, Any], known: set[str], prefix: str) -> None:
        for key in found:
            if key not in known:
                near = difflib.get_close_matches(key, known, 1)
                raise UnknownSettingError(
                    "no setting has this name",
                    where=Place(str(file), _line_of(text, key)),
                    was=f"{prefix}{key}",
                    fix=f"did you mean {prefix}{near[0]}?" if near else f"known are {', '.join(sorted(known))}",
                )

    check(content, {*_SECTIONS, "destinations"}, "")
    for name, section in _SECTIONS.items():
        if isinstance(content.get(name), dict):
            check(content[name], {f.name for f in dataclasses.fields(section)}, f"{name}.")
    tables = content.get("destinations", [])
    for table in tables if isinstance(tables, list) else []:
        if isinstance(table, dict):
            check(table, {f.name for f in dataclasses.fields(DestinationSettings)}, "destinations.")
            for override in _tables_in(table.get("overrides")):
                check(override, {f.name for f in dataclasses.fields(OverrideSettings)}, "destinations.overrides.")


def _tables_in(value: object) -> list[dict[str, Any]]:
    return [table for table in value if isinstance(table, dict)] if isinstance(value, list) else []


def _add_environment(content: dict[str, Any], environment: Mapping[str, str]) -> None:
    known = {
        f"GATEWAY_{section}_{f.name}".upper(): (section, f.name)
        for section, cls in _SECTIONS.items()
        for f in dataclasses.fields(cls)
    }
    for variable, value in environment.items():
        if not variable.startswith("GATEWAY_"):
            continue
        if variable not in known:
            near = difflib.get_close_matches(variable, known, 1)
            raise UnknownSettingError(
                "no setting has this name",
                where=f"environment variable {variable}",
                fix=f"did you mean {near[0]}?" if near else f"known are {', '.join(sorted(known))}",
            )
        section, name = known[variable]
        content.setdefault(section, {})[name] = value


def _validated(content: dict[str, Any], text: str, file: Path) -> Settings:
    try:
        settings = TypeAdapter(Settings).validate_python(content)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        raise SettingValueError(
            f"{key}: {first['msg'].lower()}",
            where=Place(str(file), _line_of(text, str(first["loc"][-1]))),
            was=repr(first["input"]),
        ) from error
    _check_values(settings, text, file)
    return settings


def _check_values(settings: Settings, text: str, file: Path) -> None:
    """Refuse values that have the right type and cannot work."""
    for (section, name), choices in _CHOICES.items():
        value = getattr(getattr(settings, section), name)
        if value not in choices:
            raise SettingValueError(
                f"{section}.{name} takes {' or '.join(choices)}",
                where=Place(str(file), _line_of(text, name)),
                was=value,
            )
    if settings.site.uid_root and not re.fullmatch(_UID_ROOT, settings.site.uid_root):
        raise SettingValueError(
            "site.uid_root takes a UID of at most 43 characters, without a dot at the end (PS3.5 9.1)",
            where=Place(str(file), _line_of(text, "uid_root")),
            was=settings.site.uid_root,
        )
    if settings.site.generate_patient_ids and not settings.site.issuer.strip():
        raise SettingValueError(
            "site.generate_patient_ids needs site.issuer: identifiers are unique within their issuer only",
            where=Place(str(file), _line_of(text, "generate_patient_ids")),
            fix="name the site as issuer",
        )
    if len(settings.site.issuer) > 64 or re.search(r"[\\\x00-\x1f\x7f]", settings.site.issuer):
        raise SettingValueError(
            "site.issuer takes at most 64 characters without backslash and control characters (PS3.5 6.2, LO)",
            where=Place(str(file), _line_of(text, "issuer")),
        )
    _check_overrides(settings, text, file)
    if settings.site.time_zone and zone_named(settings.site.time_zone) is None:
        raise SettingValueError(
            "site.time_zone takes a name of the IANA time zone database, such as Europe/Helsinki",
            where=Place(str(file), _line_of(text, "time_zone")),
            was=settings.site.time_zone,
        )
    titles = [settings.network.ae_title, *(destination.ae_title for destination in settings.destinations)]
    for title in titles:
        if not re.fullmatch(_AE_TITLE, title):
            raise SettingValueError(
                "an AE title takes 1 to 16 ASCII characters without backslash (PS3.5 6.2)",
                where=Place(str(file), _line_of(text, "ae_title")),
                was=title,
            )
    names = [destination.name for destination in settings.destinations]
    if len(set(names)) < len(names):
        raise SettingValueError("two destinations have the same name", where=str(file), was=", ".join(names))


def _check_overrides(settings: Settings, text: str, file: Path) -> None:
    """Refuse overrides that no object may carry, with the line on which each stands."""
    lines = iter([n for n, line in enumerate(text.splitlines(), 1) for _ in _ATTRIBUTE.findall(line)])
    for destination in settings.destinations:
        seen: list[DestinationOverride] = []
        for override in destination.overrides:
            line = next(lines, None)
            seen.append(DestinationOverride(destination.name, override.attribute, override.value, override.because))
            try:
                check_overrides(seen)
            except SettingsError as error:
                where = Place(str(file), line, field=f"destinations {destination.name}: {error.where}")
                raise type(error)(error.what, where=where, was=error.was, fix=error.fix) from error


def settings_template() -> str:
    """Return a commented settings file with every setting at its default."""
    return _TEMPLATE


_TEMPLATE = """\
# Settings of the eye-ultrasound gateway. Every value may also come from the environment: GATEWAY_SITE_UID_ROOT and so
# on; the environment wins. Keys that the gateway does not know are errors.

[site]
# Registered UID root of your site. Empty: 2.25 and a UUID, which needs no registration (PS3.5 B.2).
uid_root = ""
# One series per eye and kind ("eye-and-kind"), or one per place scanned ("position").
series_by = "eye-and-kind"
# Whom images name as their equipment: "device" or "gateway".
general_equipment = "device"
# SNOMED CT codes outside the subset that DICOM licenses. Needs your own SNOMED CT licence.
snomed_extended = false
# Your own table of speeds of sound (YAML). Empty: the shipped one.
speeds = ""
# Your own figures of repeatability (YAML). Empty: the shipped, published ones.
repeatability = ""
# How folders without an exam document are read (YAML, gateway mapping --help). Empty: they are refused.
mapping = ""
# Folder of your own examination protocols (YAML), beside the shipped ones.
protocols = ""
# Accept an eye that one source alone names, without a second source or a named person; every report then says so.
single_eye_witness = false
# A site without patient ids: name yourself as issuer, and let the gateway make an id where an exam states none.
issuer = ""
generate_patient_ids = false
# Zone of times that state no offset from UTC, e.g. "Europe/Helsinki". Empty: such times are refused.
time_zone = ""

[store]
# Database and spool. Holds patient data: keep it on a disk that only the gateway's user can read.
data_folder = "gateway-data"

[network]
# Application Entity title of this gateway.
ae_title = "EYEGATEWAY"
# Where commitment reports on an association of the archive's own are awaited; port 0: only on the one that asked.
listen_host = "127.0.0.1"
listen_port = 0

# One table for each archive. Ask its owner for the four values, and give them your ae_title and address.
# [[destinations]]
# name = "hospital"
# ae_title = "ARCHIVE"
# host = "192.0.2.10"
# port = 11112
# storage_commitment = true   # false: a query that lists every instance is the proof that remains
# commitment_wait_s = 60.0
# attempts = 5                # tries for a temporary failure before a person must look
# first_retry_s = 2.0
# What this archive alone reads otherwise; never patient, UIDs, eyes, positions, calibration or measurements.
# overrides = [{attribute = "InstitutionName", value = "Clinic 12", because = "the hospital's own name for us"}]
"""
