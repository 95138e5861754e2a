"""Types 1, 1C, 2 and 2C of every attribute, enumerated values and numbers of items, through all sequences.

PS3.5 7.4 says what the types mean; which attribute has which type comes from the tables of PS3.3.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, TypeAlias

from gateway.validation.conditions import Need
from gateway.validation.elements import Element, Item, keyword, shown, tag_text
from gateway.validation.findings import Finding, Severity
from gateway.validation.levels import AttributeCheck, Clause, CompiledIod, Level, overlay_groups
from gateway.validation.scope import Scope

Path: TypeAlias = tuple[tuple[int, int], ...]
"""Tag and number of the item, from the dataset down."""

PATIENT_GROUP: Final = 0x0010


def check_types(compiled: CompiledIod, scope: Scope) -> Iterator[Finding]:
    """Yield the findings of one object, in no particular order."""
    walk = _Walk(scope, compiled.iod.edition)
    walk.level(compiled.level_for(scope), scope.root, ())
    for group in overlay_groups(scope.root):
        walk.level(compiled.overlay_level(group), scope.root, ())
    yield from walk.findings


class _Walk:
    """One pass over a dataset."""

    __slots__ = ("base_edition", "findings", "scope")

    def __init__(self, scope: Scope, base_edition: str) -> None:
        self.scope = scope
        self.base_edition = base_edition
        self.findings: list[Finding] = []

    def level(self, level: Level, item: Item, path: Path) -> None:
        scope = self.scope if item is self.scope.root else self.scope.inside(item)
        for check in level.mandatory:
            self._mandatory(check, item.get(check.tag), path)
        for check in level.conditional:
            self._conditional(check, item.get(check.tag), scope, path)
        by_tag, sequences = level.by_tag, level.sequences
        for tag, element in item.items():
            found = by_tag.get(tag)
            if found is not None and found.values:
                self._enumerated(found, element, path)
            if element.items is not None and found is not None:
                self._number_of_items(found, element.items, path)
            if element.items:
                below = sequences.get(tag)
                if below is not None:
                    for number, inner in enumerate(element.items, start=1):
                        self.level(below, inner, (*path, (tag, number)))

    def _number_of_items(self, check: AttributeCheck, items: tuple[Item, ...], path: Path) -> None:
        if check.one_item and len(items) > 1:
            message = f"has {len(items)} items; it must not have more than one"
            self._add(Severity.ERROR, "too-many-items", check, path, message, check.section)
        if check.type == "3" and not check.clauses and not items:
            message = "has no item and so says nothing; give it one or leave it out"
            self._add(Severity.WARNING, "sequence-without-items", check, path, message, check.section)

    def _mandatory(self, check: AttributeCheck, element: Element | None, path: Path) -> None:
        if element is None:
            wanted = "it must be there with a value" if check.type == "1" else "it must be there, empty if not known"
            message = f"is missing; {wanted} (type {check.type})"
            self._add(Severity.ERROR, f"type-{check.type}-missing", check, path, message, check.section)
        elif check.type == "1" and element.empty:
            message = "is empty; it must have a value (type 1)"
            self._add(Severity.ERROR, "type-1-empty", check, path, message, check.section)

    def _conditional(self, check: AttributeCheck, element: Element | None, scope: Scope, path: Path) -> None:
        if element is None:
            for clause in check.decidable:
                if clause.predicate(scope) is Need.REQUIRED:
                    self._missing(check, clause, path)
                    return
            return
        needs = [(clause, clause.predicate(scope)) for clause in check.clauses]
        if element.empty:
            for clause, need in needs:
                stands_needlessly = need is Need.NOT_REQUIRED and not clause.may_otherwise
                if clause.type == "1C" and need is not Need.FORBIDDEN and not stands_needlessly:
                    self._empty(check, clause, need, path)
                    return
        self._not_allowed(check, needs, path)

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

    def _not_allowed(self, check: AttributeCheck, needs: list[tuple[Clause, Need]], path: Path) -> None:
        """Forbidden means that no row of any module lets the attribute stand (PS3.5 7.4.2)."""
        for clause, need in needs:
            open_row = need in {Need.REQUIRED, Need.UNDECIDABLE} or (need is Need.NOT_REQUIRED and clause.may_otherwise)
            if open_row or (check.type and need is not Need.FORBIDDEN):
                return
        clause = needs[0][0]
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
