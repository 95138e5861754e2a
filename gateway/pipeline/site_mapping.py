"""What a site's source mapping says of destinations, joined with what the settings say of them."""

from __future__ import annotations

from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path

from gateway.builders.overrides import check_overrides
from gateway.errors.mapping import MappingRuleError
from gateway.mapping.sources.reading import load_source_mapping
from gateway.settings import OverrideSettings, Settings


def with_mapping_overrides(settings: Settings) -> Settings:
    """Return settings whose destinations also read what the site's mapping says of them.

    Raises
    ------
    SourceMappingError
        If the mapping cannot be used.
    MappingRuleError
        If it names a destination that the settings do not have.
    OverrideNotAllowedError, OverrideValueError
        If an attribute may not be overridden, or stands twice.
    """
    if not settings.site.mapping:
        return settings
    mapping = load_source_mapping(Path(settings.site.mapping))
    names = [destination.name for destination in settings.destinations]
    for override in mapping.destinations:
        if names and override.destination not in names:
            near = get_close_matches(override.destination, names, 1)
            fix = f"did you mean {near[0]}?" if near else f"known are {', '.join(names)}"
            what = "the settings have no such destination"
            raise MappingRuleError(what, where=mapping.file, was=override.destination, fix=fix)
    destinations = []
    for destination in settings.destinations:
        own = [each for each in mapping.destinations if each.destination == destination.name]
        added = tuple(OverrideSettings(each.attribute, each.value, each.because) for each in own)
        check_overrides(own)
        destinations.append(replace(destination, overrides=(*destination.overrides, *added)))
    return replace(settings, destinations=tuple(destinations))
