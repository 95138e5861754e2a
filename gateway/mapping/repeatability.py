"""How much readings of one thing differ, each figure with its source: published ones, or a site's own."""

from __future__ import annotations

from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Annotated

from pydantic import Field

from gateway.acoustics.quantities import measures
from gateway.acoustics.repeats import deviation_of_one
from gateway.errors.document import DocumentError, DocumentFormatError, UnitNotFittingError
from gateway.errors.measurement import RepeatabilityTableError
from gateway.mapping.document.base import Fields
from gateway.mapping.document.problems import duplicate_keys, in_order, validated
from gateway.mapping.located.file import read_located
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.scalars import (
    DisplayedNumber,
    Rule,
    concept_word,
    refusal,
    required_line,
    text_of,
    word_of,
)
from gateway.mapping.speeds import Checked
from gateway.model.capture import Contact
from gateway.model.measurement import MeasurementKind, Unit
from gateway.model.position import Scan
from gateway.model.repeatability import Operators, RepeatabilityFigure, Whose
from gateway.shipped import shipped_path

REPEATABILITY_FORMAT = "eye-repeatability/1"


class Statistic(StrEnum):
    """What a figure is."""

    STANDARD_DEVIATION = "standard-deviation"
    LIMITS_OF_AGREEMENT = "limits-of-agreement"
    MEAN_ABSOLUTE_DIFFERENCE = "mean-absolute-difference"

    def words(self, value: str, unit: Unit) -> str:
        """Say a figure of this kind."""
        return {
            Statistic.STANDARD_DEVIATION: f"standard deviation {value} {unit.value}",
            Statistic.LIMITS_OF_AGREEMENT: f"95 % limits of agreement ± {value} {unit.value}",
            Statistic.MEAN_ABSOLUTE_DIFFERENCE: f"mean absolute difference {value} {unit.value}",
        }[self]


class FigureFields(Fields):
    """One figure."""

    kind: Annotated[MeasurementKind, word_of(MeasurementKind)] = Field(
        description="Kind of measurement.", examples=["height"]
    )
    structure: Annotated[str, concept_word("structure")] | None = Field(
        None, description="Structure that was measured; left out where the figure holds for any."
    )
    scans: list[Annotated[Scan, word_of(Scan)]] | None = Field(
        None, description="Scans that it holds for; left out for all.", examples=[["a-scan"]]
    )
    contact: Annotated[Contact, word_of(Contact)] | None = Field(
        None, description="How the probe touched; left out where the figure holds for any."
    )
    statistic: Annotated[Statistic, word_of(Statistic)] = Field(
        description="standard-deviation of one reading; limits-of-agreement: 95 % limits of the difference of two; "
        "mean-absolute-difference of two, shown alone.",
    )
    value: DisplayedNumber = Field(description="The figure, digits as published.", examples=["0.18"])
    unit: Annotated[Unit, word_of(Unit)] = Field(description="Unit as UCUM writes it.", examples=["mm"])
    operators: Annotated[Operators, word_of(Operators)] = Field(
        description="same-operator is repeatability, several-operators reproducibility; not-stated where it is not."
    )
    whose: Annotated[Whose, word_of(Whose)] = Field(description="published, or own: found by this site.")
    condition: Annotated[str, required_line(300)] = Field(description="On whom, how often and by which technique.")
    source: Annotated[str, required_line(300)] = Field(description="Publication, or the site's own record of it.")
    checked: Annotated[Checked, word_of(Checked)] = Field(
        description="opened: the source itself was read; secondary: a page that quotes it; memory: neither."
    )

    def to_model(self) -> RepeatabilityFigure:
        """Return the figure with the standard deviation of one reading, where it has one."""
        value = float(self.value)
        deviation = {
            Statistic.STANDARD_DEVIATION: value,
            Statistic.LIMITS_OF_AGREEMENT: deviation_of_one(value),
            Statistic.MEAN_ABSOLUTE_DIFFERENCE: None,
        }[self.statistic]
        doubt = "" if self.checked is Checked.OPENED else f" (source checked: {self.checked.value})"
        return RepeatabilityFigure(
            kind=self.kind,
            standard_deviation=deviation,
            unit=self.unit,
            statistic_words=self.statistic.words(self.value, self.unit),
            operators=self.operators,
            whose=self.whose,
            condition=self.condition,
            source=self.source + doubt,
            structure=self.structure or "",
            scans=tuple(self.scans or ()),
            contact=self.contact,
        )


def _format(value: object) -> str:
    text = text_of(value, REPEATABILITY_FORMAT)
    if text != REPEATABILITY_FORMAT:
        fix = f"write format: {REPEATABILITY_FORMAT}"
        raise refusal(DocumentFormatError, "not a table of repeatability", was=text[:60], fix=fix)
    return text


class RepeatabilityFields(Fields):
    """How much readings of one thing differ, each figure with its source."""

    format: Annotated[str, Rule(_format, {"const": REPEATABILITY_FORMAT})] = Field(
        description="Name and version of this format."
    )
    figures: list[FigureFields] = Field(max_length=1000, description="The first that fits a measurement is used.")


def load_repeatability(path: Path | None = None) -> tuple[RepeatabilityFigure, ...]:
    """Read a table of repeatability.

    Parameters
    ----------
    path : Path, optional
        The site's own table, which replaces the shipped one as a whole; the shipped, published one where None.

    Returns
    -------
    tuple of RepeatabilityFigure
        In the table's order.

    Raises
    ------
    RepeatabilityTableError
        If any row is doubtful; a table is used as a whole or not at all.
    """
    return _shipped_figures() if path is None else _read(path)


@cache
def _shipped_figures() -> tuple[RepeatabilityFigure, ...]:
    return _read(shipped_path("mappings/repeatability.yaml"))


def _read(path: Path) -> tuple[RepeatabilityFigure, ...]:
    try:
        document = read_located(path)
    except DocumentError as err:
        raise RepeatabilityTableError(err.what, where=err.where, was=err.was, fix=err.fix) from err
    fields, problems = validated(document, (), RepeatabilityFields)
    problems += [error for _path, error in duplicate_keys(document)]
    if fields is not None:
        problems += _wrong_units(document, fields)
    if problems or fields is None:
        first, *others = in_order(problems)
        fix = first.fix + (f"; {len(others)} more: " + "; ".join(str(other) for other in others[:5]) if others else "")
        raise RepeatabilityTableError(first.what, where=first.where, was=first.was, fix=fix)
    return tuple(row.to_model() for row in fields.figures)


def _wrong_units(document: LocatedDocument, fields: RepeatabilityFields) -> list[UnitNotFittingError]:
    return [
        UnitNotFittingError(
            f"{row.unit.value} is not a unit of this kind",
            where=document.place(("figures", index, "unit")),
            was=row.kind.value,
            fix="mend kind or unit",
        )
        for index, row in enumerate(fields.figures)
        if not measures(row.kind, row.unit)
    ]
