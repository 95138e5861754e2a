"""Adds one attribute at a time that the tables know and a clean object lacks, with a value that its VR allows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass

from pydicom.datadict import dictionary_VM, dictionary_VR, keyword_for_tag
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from gateway.standard.iods import AttributeRule, iod_of

PLAIN_VALUES = {
    "AE": "X", "AS": "040Y", "AT": 0x00181063, "CS": "X", "DA": "20260302", "DS": "1.5", "DT": "20260302093000",
    "FD": 1.5, "FL": 1.5, "IS": "1", "LO": "X", "LT": "X", "OB": b"\1\0", "OD": b"\0" * 8, "OF": b"\0" * 4,
    "OL": b"\0" * 4, "OV": b"\0" * 8, "OW": b"\1\0", "PN": "X", "SH": "X", "SL": 1, "SS": 1, "ST": "X", "SV": 1,
    "TM": "093000", "UC": "X", "UI": "1.2.3", "UL": 1, "UN": b"\1\0",
    "UR": "http://example.org", "US": 1, "UT": "X", "UV": 1,
}  # fmt: skip


@dataclass(frozen=True)
class Addition:
    """One added attribute."""

    path: str
    rule: AttributeRule
    dataset: Dataset


def additions(make: Callable[[], Dataset], parents: tuple[str, ...] = ()) -> Iterator[Addition]:
    """Yield a fresh copy for each attribute of the table that the first item under `parents` lacks."""
    clean = make()
    iod = iod_of(str(clean.SOPClassUID))
    assert iod is not None
    rules = [rule for module in iod.modules for rule in module.attributes]
    for parent in parents:
        tables = {rule.items for rule in rules if rule.keyword == parent and rule.items}
        rules = [rule for name in sorted(tables) for rule in iod.item_tables[name]]
    holder = _holder(clean, parents)
    for rule in {rule.tag: rule for rule in rules if not rule.repeating}.values():
        if rule.tag not in holder and keyword_for_tag(rule.tag):
            dataset = deepcopy(clean)
            _holder(dataset, parents).add(_element(rule))
            yield Addition(".".join((*(f"{parent}[1]" for parent in parents), rule.keyword)), rule, dataset)


def _holder(dataset: Dataset, parents: tuple[str, ...]) -> Dataset:
    for parent in parents:
        dataset = dataset[parent].value[0]
    return dataset


def _element(rule: AttributeRule) -> DataElement:
    vr = dictionary_VR(rule.tag).split(" or ")[0]
    if vr == "SQ":
        return DataElement(rule.tag, "SQ", Sequence([Dataset()]))
    value = sorted(rule.values, key=str)[0] if rule.values else PLAIN_VALUES[vr]
    vm = dictionary_VM(rule.tag)
    least = int(vm.split("-")[0]) if vm[0].isdigit() else 1
    return DataElement(rule.tag, vr, value if least == 1 or vr[0] == "O" else [value] * least)
