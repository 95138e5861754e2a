"""Builds the items that conditions look at, from keywords."""

from __future__ import annotations

from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from gateway.validation.built_dataset import item_of
from gateway.validation.scope import Scope


def dataset_of(values: dict) -> Dataset:
    dataset = Dataset()
    for keyword, value in values.items():
        if isinstance(value, list) and all(isinstance(each, dict) for each in value):
            setattr(dataset, keyword, Sequence([dataset_of(each) for each in value]))
        else:
            setattr(dataset, keyword, value)
    return dataset


def root_scope(values: dict, transfer_syntax: str = "") -> Scope:
    root = item_of(dataset_of(values))
    return Scope(root, root, transfer_syntax)


def item_scope(values: dict, root: dict | None = None) -> Scope:
    return Scope(item_of(dataset_of(values)), item_of(dataset_of(root or {})))
