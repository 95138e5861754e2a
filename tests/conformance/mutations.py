"""Makes one defect at a time: every attribute of a clean object, at every depth, once deleted and once emptied."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass

from pydicom.dataset import Dataset
from pydicom.sequence import Sequence


@dataclass(frozen=True)
class Mutation:
    """One defect.

    `path` is in keywords with items counted from 1; `kind` is deleted or emptied.
    """

    path: str
    kind: str
    dataset: Dataset


def mutations(make: Callable[[], Dataset]) -> Iterator[Mutation]:
    """Yield each defect in a fresh copy; the identity of the class stays, or there is nothing to check by."""
    clean = make()
    for steps in _places(clean, ()):
        path = ".".join(f"{keyword}[{item + 1}]" if item is not None else keyword for keyword, item in steps)
        if path in {"SOPClassUID", "SOPInstanceUID"}:
            continue
        for kind in ("deleted", "emptied"):
            dataset = deepcopy(clean)
            holder = dataset
            for keyword, item in steps[:-1]:
                holder = holder[keyword].value[item]
            element = holder[steps[-1][0]]
            if kind == "deleted":
                del holder[element.tag]
            elif element.is_empty:
                continue
            elif element.VR == "SQ":
                element.value = Sequence([])
            else:
                element.value = b"" if element.VR in {"OB", "OW"} else None
            yield Mutation(path, kind, dataset)


def _places(dataset: Dataset, steps: tuple) -> Iterator[tuple]:
    for element in dataset:
        yield (*steps, (element.keyword, None))
        if element.VR == "SQ":
            for number, item in enumerate(element.value):
                yield from _places(item, (*steps, (element.keyword, number)))
