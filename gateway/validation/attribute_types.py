"""Types 1, 1C, 2 and 2C of every attribute, enumerated values and numbers of items, through all sequences.

PS3.5 7.4 says what the types mean; which attribute has which type comes from the tables of PS3.3.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, TypeAlias

from gateway.validation.conditions import Need
from gateway.validation.elements import Element, Item, keyword, shown, tag_text
from gateway.validation.findings import Finding, Severity
from gateway.validation.levels import (
    AttributeCheck,
    Clause,
    CompiledIod,
    Level,
    Shape,
    may_stand,
    overlay_groups,
    shape_of,
)
from gateway.validation.scope import Scope

Path: TypeAlias = tuple[tuple[int, int], ...]
"""Tag and number of the item, from the dataset down."""

PATIENT_GROUP: Final = 0x0010
VALUE_TYPE: Final = 0x0040A040


def check_types(compiled: CompiledIod, scope: Scope) -> Iterator[Finding]:
    """Yield the findings of one object, in no particular order."""
    walk = _Walk(scope, compiled.iod.edition)
    walk.level(compiled.level_for(scope), scope.root, ())
    for group in overlay_groups(scope.root):
        walk.level(compiled.overlay_level(group), scope.root, ())
    yield from walk.findings


class _Walk:
    """One pass over a dataset."""

    __slots__ = ("base_edition", "clean", "findings", "scope")

    def __init__(self, scope: Scope, base_edition: str) -> None:
        self.scope = scope
        self.base_edition = base_edition
        self.findings: list[Finding] = []
        self.clean: set[tuple[int, int]] = set()

    def level(self, level: Level, item: Item, path: Path) -> None:
        """Check one item and all below; an item that the reader shares is checked once if it is clean."""
        key = id(level), id(item)
        if key in self.clean:
            return
        before = len(self.findings)
        self._check_item(level, item, path)
        if len(self.findings) == before:
            self.clean.add(key)

    def _check_item(self, level: Level, item: Item, path: Path) -> None:
        at_root = item is self.scope.root
        value_type = item.get(VALUE_TYPE)
        shape = shape_of(level, tuple(item), value_type.first() if value_type is not None else None, at_root)
        for check in shape.missing:
            self._missing_mandatory(check, path)
        for check in shape.mandatory:
            if item[check.tag].empty:
                message = "is empty; it must have a value (type 1)"
                self._add(Severity.ERROR, "type-1-empty", check, path, message, check.section)
        self._conditions(shape, item, path)
        for check in shape.enumerated:
            self._enumerated(check, item[check.tag], path)
        for check, below in shape.sequences:
            items = item[check.tag].items
            if items is not None:
                self._number_of_items(check, items, path)
                for number, inner in enumerate(items, start=1):
                    self.level(below, inner, (*path, (check.tag, number)))

    def _conditions(self, shape: Shape, item: Item, path: Path) -> None:
        asked = [*shape.ask, *(check for check in shape.fill if item[check.tag].empty)]
        if asked:
            scope = self.scope if item is self.scope.root else self.scope.inside(item)
            for check in asked:
                self._conditional(check, item.get(check.tag), scope, path)

    def _number_of_items(self, check: AttributeCheck, items: tuple[Item, ...], path: Path) -> None:
        if check.one_item and len(items) > 1:
            message = f"has {len(items)} items; it must not have more than one"
            self._add(Severity.ERROR, "too-many-items", check, path, message, check.section)
        if check.type == "3" and not check.clauses and not items:
            message = "has no item and so says nothing; give it one or leave it out"
            self._add(Severity.WARNING, "sequence-without-items", check, path, message, check.section)

    def _missing_mandatory(self, check: AttributeCheck, path: Path) -> None:
        wanted = "it must be there with a value" if check.type == "1" else "it must be there, empty if not known"
        message = f"is missing; {wanted} (type {check.type})"
        self._add(Severity.ERROR, f"type-{check.type}-missing", check, path, message, check.section)

    def _conditional(self, check: AttributeCheck, element: Element | None, scope: Scope, path: Path) -> None:
        if element is None:
            for clause in check.decidable:
                if clause.predicate(scope) is Need.REQUIRED:
                    self._missing(check, clause, path)
                    return
            return
        if not element.empty:
            if not may_stand(check, scope):
                self._not_allowed(check, path)
            return
        for clause in check.clauses:
            need = clause.predicate(scope)
            stands_needlessly = need is Need.NOT_REQUIRED and not clause.may_otherwise
            if clause.type == "1C" and need is not Need.FORBIDDEN and not stands_needlessly:
                self._empty(check, clause, need, path)
                return
        if not may_stand(check, scope):
            self._not_allowed(check, path)

    def _missing(self, check: AttributeCheck, clause: Clause, path: Path) -> None:
        kind = clause.type.lower()
        wanted = "with a value" if clause.type == "1C" else "empty if not known"
        message = f"is missing; it must be there, {wanted}, because of: {_words(clause)} (type {clause.type})"
        self._add(self._severity(clause), f"type-{kind}-missing", check, path, message, clause.section, clause.edition)

    def _empty(self, check: AttributeCheck, clause: Clause, need: Need, path: Path) -> None:
        if need is Need.REQUIRED:
            message = f"is empty; it must have a value because of: {_words(clause)} (type 1C)"
        else:
            message = "is empty; where it stands it must have a value (type 1C), otherwise leave it out"
        self._add(self._severity(clause), "type-1c-empty", check, path, message, clause.section, clause.edition)

    def _not_allowed(self, check: AttributeCheck, path: Path) -> None:
        clause = check.clauses[0]
        message = f"must not stand here; it is for: {_words(clause)} (type {clause.type}), which is not so"
        self._add(self._severity(clause), "not-allowed-here", check, path, message, clause.section, clause.edition)

    def _enumerated(self, check: AttributeCheck, element: Element, path: Path) -> None:
        wrong = [value for value in element.values() if value not in check.values]
        if not wrong or element.empty:
            return
        allowed = ", ".join(str(value) for value in sorted(check.values, key=str))
        is_of_patient = check.tag >> 16 == PATIENT_GROUP
        what = "is none of the values allowed" if is_of_patient else f"is {shown(wrong[0])!r}"
        message = f"{what}; it must be one of {allowed}"
        self._add(Severity.ERROR, "value-not-enumerated", check, path, message, check.section)

    def _severity(self, clause: Clause) -> Severity:
        return Severity.ERROR if clause.edition == self.base_edition else Severity.WARNING

    def _add(  # noqa: PLR0913, PLR0917 - the parts of a finding
        self,
        severity: Severity,
        code: str,
        check: AttributeCheck,
        path: Path,
        message: str,
        section: str,
        edition: str = "",
    ) -> None:
        self.findings.append(
            Finding(
                severity=severity,
                code=code,
                attribute=".".join((*(f"{tag_text(tag)}[{n}]" for tag, n in path), tag_text(check.tag))),
                message=f"{'.'.join((*(f'{keyword(tag)}[{n}]' for tag, n in path), check.keyword))} {message}",
                section=f"PS3.3 {section}",
                edition=edition or check.edition,
            )
        )


def _words(clause: Clause) -> str:
    return clause.name.replace("-", " ")
