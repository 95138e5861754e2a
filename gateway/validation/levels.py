"""Compiles the tables of an IOD into what one pass over a dataset needs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from gateway.standard.iods import AttributeRule, Iod, ModuleRules, Usage, iod_of
from gateway.validation.conditions import Need, Predicate, predicates
from gateway.validation.conditions.algebra import ByShape, undecidable
from gateway.validation.elements import Element, Item, Scalar, tag
from gateway.validation.scope import Scope


@dataclass(frozen=True, slots=True)
class Clause:
    """One conditional row of an attribute."""

    name: str
    type: str
    predicate: Predicate
    may_otherwise: bool
    section: str
    edition: str


@dataclass(frozen=True, slots=True)
class AttributeCheck:
    """All rows of one attribute at one level, from every module that has it.

    Parameters
    ----------
    type : str
        The strictest unconditional type: 1, 2 or 3; empty where all rows are conditional.
    clauses : tuple of Clause
        The conditional rows.
    decidable : tuple of Clause
        Those of them that can ever require the attribute.
    """

    tag: int
    keyword: str
    type: str
    clauses: tuple[Clause, ...]
    decidable: tuple[Clause, ...]
    values: frozenset[str | int]
    one_item: bool
    section: str
    edition: str


class Level:
    """The rules of one dataset or of the items of one sequence; may contain itself."""

    __slots__ = ("by_tag", "conditional", "mandatory", "sequences")

    def __init__(self) -> None:
        self.mandatory: tuple[AttributeCheck, ...] = ()
        self.conditional: tuple[AttributeCheck, ...] = ()
        self.by_tag: Mapping[int, AttributeCheck] = {}
        self.sequences: Mapping[int, Level] = {}


@dataclass(frozen=True, slots=True)
class OptionalModule:
    """A module of usage C or U and how its presence is seen.

    Parameters
    ----------
    telltales : frozenset of int
        Tags that no mandatory module has.
    repeating : bool
        Whether the module lives in the groups 6000 to 601E.
    """

    rules: ModuleRules
    telltales: frozenset[int]
    repeating: bool


@dataclass(frozen=True, slots=True)
class CompiledIod:
    """One IOD, ready for checking."""

    iod: Iod
    optional: tuple[OptionalModule, ...]

    def level_for(self, scope: Scope) -> Level:
        """Return the rules of the modules that are mandatory, required or present in this object."""
        chosen = frozenset(
            module.rules.name for module in self.optional if not module.repeating and self._applies(module, scope)
        )
        return _root_level(self.iod.sop_class_uid, chosen)

    def overlay_level(self, group: int) -> Level:
        """Return the rules of one overlay group, 0x6000 to 0x601E."""
        return _overlay_level(self.iod.sop_class_uid, group)

    @staticmethod
    def _applies(module: OptionalModule, scope: Scope) -> bool:
        if not module.telltales.isdisjoint(scope.root):
            return True
        name = module.rules.condition
        return bool(name) and predicates()[name](scope) is Need.REQUIRED


@cache
def compiled(sop_class_uid: str) -> CompiledIod | None:
    """Return the compiled rules of a SOP Class, or None where there is no table."""
    iod = iod_of(sop_class_uid)
    if iod is None:
        return None
    mandatory = {rule.tag for module in iod.modules if module.usage is Usage.MANDATORY for rule in module.attributes}
    optional = tuple(
        OptionalModule(
            module,
            frozenset(rule.tag for rule in module.attributes) - mandatory,
            any(rule.repeating for rule in module.attributes),
        )
        for module in iod.modules
        if module.usage is not Usage.MANDATORY
    )
    return CompiledIod(iod, optional)


@lru_cache(maxsize=256)
def _root_level(sop_class_uid: str, chosen: frozenset[str]) -> Level:
    iod = iod_of(sop_class_uid)
    assert iod is not None  # noqa: S101 - only called for compiled IODs
    rows = [
        (rule, module.section)
        for module in iod.modules
        if module.usage is Usage.MANDATORY or module.name in chosen
        for rule in module.attributes
        if not rule.repeating
    ]
    return _compile(rows, iod, {})


@cache
def _overlay_level(sop_class_uid: str, group: int) -> Level:
    iod = iod_of(sop_class_uid)
    assert iod is not None  # noqa: S101 - only called for compiled IODs
    rows = [
        (_shifted(rule, group), module.section)
        for module in iod.modules
        if module.name == "overlay-plane"
        for rule in module.attributes
    ]
    return _compile(rows, iod, {})


def _shifted(rule: AttributeRule, group: int) -> AttributeRule:
    return AttributeRule(tag=group << 16 | rule.tag & 0xFFFF, keyword=rule.keyword, type=rule.type, values=rule.values)


Row = tuple[AttributeRule, str]


def _compile(rows: Iterable[Row], iod: Iod, done: dict[tuple[tuple[str, str], ...], Level]) -> Level:
    """Compile one level and, through its sequences, all below; `done` closes circles."""
    grouped: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        grouped[row[0].tag].append(row)
    level = Level()
    checks = [_check(group, iod.edition) for group in grouped.values()]
    level.by_tag = {check.tag: check for check in checks}
    level.mandatory = tuple(check for check in checks if check.type in {"1", "2"})
    level.conditional = tuple(
        check for check in checks if check.clauses and check.type not in {"1", "2"} and not _never_says(check)
    )
    sequences = {}
    for number, group in grouped.items():
        key = tuple(sorted({(rule.items, rule.section or section) for rule, section in group if rule.items}))
        if not key:
            continue
        sequences[number] = done[key] if key in done else _compile_items(key, iod, done)
    level.sequences = sequences
    return level


def _compile_items(key: tuple[tuple[str, str], ...], iod: Iod, done: dict[tuple[tuple[str, str], ...], Level]) -> Level:
    place = done[key] = Level()
    rows = [(rule, rule.section or section) for name, section in key for rule in iod.item_tables[name]]
    built = _compile(rows, iod, done)
    place.mandatory, place.conditional = built.mandatory, built.conditional
    place.by_tag, place.sequences = built.by_tag, built.sequences
    return place


def _check(group: list[Row], edition: str) -> AttributeCheck:
    rules = [rule for rule, _ in group]
    unconditional = sorted(rule.type for rule in rules if rule.type in {"1", "2", "3"})
    strictest = unconditional[0] if unconditional else ""
    telling = next(((rule, section) for rule, section in group if rule.type == strictest), group[0])
    clauses = tuple(
        Clause(
            name=rule.condition,
            type=rule.type,
            predicate=predicates()[rule.condition],
            may_otherwise=rule.may_otherwise or bool(unconditional),
            section=rule.section or section,
            edition=rule.edition or edition,
        )
        for rule, section in group
        if rule.type in {"1C", "2C"}
    )
    value_sets = [rule.values for rule in rules if rule.values]
    return AttributeCheck(
        tag=rules[0].tag,
        keyword=rules[0].keyword,
        type=strictest,
        clauses=clauses,
        decidable=tuple(clause for clause in clauses if clause.predicate is not undecidable),
        values=frozenset.intersection(*value_sets) if value_sets else frozenset(),
        one_item=all(rule.one_item for rule in rules),
        section=telling[0].section or telling[1],
        edition=telling[0].edition or edition,
    )


def _never_says(check: AttributeCheck) -> bool:
    """Whether no clause can ever require or forbid the attribute; type 1C must still have a value where present."""
    return all(clause.predicate is undecidable and clause.type == "2C" for clause in check.clauses)


@dataclass(frozen=True, slots=True)
class Shape:
    """What an item of one shape, that is with certain attributes and a certain Value Type, has to be asked.

    Parameters
    ----------
    missing : tuple of AttributeCheck
        Types 1 and 2 that the item lacks.
    mandatory : tuple of AttributeCheck
        Type 1 that the item has and that must not be empty.
    ask : tuple of AttributeCheck
        Conditional attributes whose conditions have to be looked at.
    fill : tuple of AttributeCheck
        Conditional attributes that may stand and only must not be empty.
    enumerated : tuple of AttributeCheck
        Attributes that have only certain values.
    sequences : tuple of (AttributeCheck, Level)
        Sequences and the rules of their items.
    """

    missing: tuple[AttributeCheck, ...]
    mandatory: tuple[AttributeCheck, ...]
    ask: tuple[AttributeCheck, ...]
    fill: tuple[AttributeCheck, ...]
    enumerated: tuple[AttributeCheck, ...]
    sequences: tuple[tuple[AttributeCheck, Level], ...]


@lru_cache(maxsize=4096)
def shape_of(level: Level, tags: tuple[int, ...], value_type: Scalar | None, at_root: bool) -> Shape:
    """Return what has to be asked of items with these tags; nearly all conditions answer by the shape alone."""
    item = {number: Element("UN", 0, None) for number in tags}
    if value_type is not None:
        item[tag("ValueType")] = Element("CS", 1, (value_type,))
    ask, fill = _conditional_checks(level, Scope(item, item if at_root else {}))
    checks = [level.by_tag[number] for number in tags if number in level.by_tag]
    return Shape(
        missing=tuple(check for check in level.mandatory if check.tag not in item),
        mandatory=tuple(check for check in checks if check.type == "1"),
        ask=ask,
        fill=fill,
        enumerated=tuple(check for check in checks if check.values),
        sequences=tuple((check, level.sequences[check.tag]) for check in checks if check.tag in level.sequences),
    )


def _conditional_checks(level: Level, scope: Scope) -> tuple[tuple[AttributeCheck, ...], tuple[AttributeCheck, ...]]:
    ask: list[AttributeCheck] = []
    fill: list[AttributeCheck] = []
    for check in level.conditional:
        if not all(_decided_by_shape(clause.predicate, scope) for clause in check.clauses):
            ask.append(check)
        elif check.tag in scope.item:
            (fill if may_stand(check, scope) else ask).append(check)
        elif any(clause.predicate(scope) is Need.REQUIRED for clause in check.decidable):
            ask.append(check)
    return tuple(ask), tuple(fill)


def _decided_by_shape(predicate: Predicate, scope: Scope) -> bool:
    if isinstance(predicate, ByShape):
        return not predicate.unless or not scope.has(predicate.unless)
    return predicate is undecidable


def may_stand(check: AttributeCheck, scope: Scope) -> bool:
    """Whether any row of any module lets the attribute stand; without one it must not (PS3.5 7.4.2 and 7.4.4)."""
    for clause in check.clauses:
        need = clause.predicate(scope)
        if need is Need.REQUIRED or need is Need.UNDECIDABLE:
            return True
        if need is Need.NOT_REQUIRED and (clause.may_otherwise or check.type):
            return True
    return False


def overlay_groups(item: Item) -> tuple[int, ...]:
    """Return the overlay groups that a dataset has, even numbers from 0x6000 to 0x601E (PS3.5 7.6)."""
    return tuple(sorted({tag >> 16 for tag in item if tag >> 20 == 0x600 or tag >> 20 == 0x601}))
