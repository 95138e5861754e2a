"""Derives what kind of object each storage SOP Class holds from the modules of its IOD."""

from __future__ import annotations

import json
from typing import Final

from gateway.standard.generate.published import EDITION, storage_classes

IMAGE_MODULES: Final = frozenset({"image-pixel", "floating-point-image-pixel", "double-floating-point-image-pixel"})
KINDS: Final = (
    ("report", frozenset({"sr-document-content", "key-object-document"})),
    ("document", frozenset({"encapsulated-document"})),
    ("presentation", frozenset({"presentation-series"})),
)
FRAME_MODULES: Final = frozenset({"multi-frame", "multi-frame-functional-groups", "multi-frame-dimension"})


def sop_classes_text() -> str:
    """Return ``data/sop_classes.json``: one row ``[uid, name, iod, kind, frames]`` on each line."""
    rows = []
    for uid, name, iod, modules in storage_classes():
        usages = dict(modules)
        rows.append([uid, name, iod, _kind(iod, usages), _frames(usages)])
    lines = ",\n".join(json.dumps(row) for row in rows)
    about = "UID, name, IOD, kind of object, number of frames; derived from PS3.4 B.5 and the IOD tables of PS3.3"
    return f'{{"about": {json.dumps(about)},\n"edition": "{EDITION}",\n"classes": [\n{lines}\n]}}\n'


def _kind(iod: str, usages: dict[str, str]) -> str:
    for kind, modules in KINDS:
        if not modules.isdisjoint(usages):
            return kind
    if "segmentation" in iod:
        return "segmentation"
    if not IMAGE_MODULES.isdisjoint(usages):
        return "image"
    return "waveform" if "waveform" in usages else "other"


def _frames(usages: dict[str, str]) -> str:
    if not any(module in usages for module in IMAGE_MODULES):
        return "none"
    found = {usages[module] for module in FRAME_MODULES if module in usages}
    if not found:
        return "one"
    return "many" if "M" in found else "either"
