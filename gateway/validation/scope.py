"""What a condition may look at: the item that holds the attribute, the whole object, and how the object is encoded."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.standard.transfer_syntaxes import TransferSyntax, transfer_syntax
from gateway.validation.elements import Element, Item, Scalar, tag


@dataclass(frozen=True, slots=True)
class Scope:
    """Where a rule is applied.

    Parameters
    ----------
    item : Item
        The dataset or sequence item in which the attribute stands or is missing.
    root : Item
        The whole dataset.
    transfer_syntax_uid : str
        Empty where it is not known.
    """

    item: Item
    root: Item
    transfer_syntax_uid: str = ""

    @property
    def at_root(self) -> bool:
        """Whether the item is the dataset itself."""
        return self.item is self.root

    @property
    def transfer_syntax(self) -> TransferSyntax | None:
        """The transfer syntax, or None where it is unknown."""
        return transfer_syntax(self.transfer_syntax_uid)

    def inside(self, item: Item) -> Scope:
        """Return the scope of an item of one of the sequences here."""
        return Scope(item, self.root, self.transfer_syntax_uid)

    def element(self, keyword: str) -> Element | None:
        """Return an attribute of the item."""
        return self.item.get(tag(keyword))

    def has(self, keyword: str) -> bool:
        """Whether the item has the attribute, empty or not."""
        return tag(keyword) in self.item

    def has_value(self, keyword: str) -> bool:
        """Whether the item has the attribute with a value."""
        return has_value(self.item, keyword)

    def value(self, keyword: str) -> Scalar | None:
        """Return the first value of an attribute of the item, or None."""
        return value(self.item, keyword)

    def root_value(self, keyword: str) -> Scalar | None:
        """Return the first value of an attribute of the whole dataset, or None."""
        return value(self.root, keyword)


def has_value(item: Item, keyword: str) -> bool:
    """Whether an item has an attribute with a value."""
    element = item.get(tag(keyword))
    return element is not None and not element.empty


def value(item: Item, keyword: str) -> Scalar | None:
    """Return the first value of an attribute, or None."""
    element = item.get(tag(keyword))
    return None if element is None else element.first()


def values(item: Item, keyword: str) -> tuple[Scalar, ...]:
    """Return all values of an attribute; none where it is absent."""
    element = item.get(tag(keyword))
    return () if element is None else element.values()


def items(item: Item, keyword: str) -> tuple[Item, ...]:
    """Return the items of a sequence; none where it is absent or no sequence."""
    element = item.get(tag(keyword))
    return () if element is None or element.items is None else element.items
