"""``gateway compare``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gateway.cli import console
from gateway.model.measurement import unit_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gateway.model.comparison import Band, Comparison, Difference, Reading, Series

VISIT_HEADINGS = ("visit", "date", "device", "from")
DIFFERENCE_HEADINGS = ("finding", "joined", "quantity", "earlier", "later", "difference", "band", "verdict")
TREND_HEADINGS = ("finding", "quantity", "visits", "span", "slope")


def compare(
    exams: Annotated[
        list[Path], typer.Argument(help="Reports (DICOM SR), folders of DICOM files, exam folders or documents.")
    ],
    plot: Annotated[
        Path | None, typer.Option(help="Write the readings over time as a drawing (SVG).", metavar="FILE.svg")
    ] = None,
    settings: Annotated[
        Path | None, typer.Option("--settings", help="Settings file [default: gateway.toml if there]")
    ] = None,
    json_output: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of tables.")] = False,
) -> None:
    """Compare visits of one patient.

    Like quantities of one finding, held against how far readings of one thing differ. What a difference means is for
    the physician to say. Findings are joined by tracking UID, or proposed by eye, structure, clock hour and zone.
    """
    from gateway.app import compare_exams, write_trend_plot

    site = console.read_site_settings(settings)
    with console.progress(quiet=json_output) as note:
        comparison = compare_exams(exams, site, note)
    if plot is not None:
        write_trend_plot(comparison, plot)
    if json_output:
        console.print_json(as_json(comparison))
    else:
        _show(comparison)


def _show(comparison: Comparison) -> None:
    visits = [[str(v.number), _date(v.when.isoformat()), v.device or "-", v.source] for v in comparison.visits]
    console.print_table("Visits", VISIT_HEADINGS, visits)
    marks = _marks(comparison)
    console.print_table(
        "Differences", DIFFERENCE_HEADINGS, [difference_row(difference, marks) for difference in comparison.differences]
    )
    trends = [trend_row(series) for series in comparison.series if series.trend]
    if trends:
        console.print_table("Trends", TREND_HEADINGS, trends)
    lines = [f"[{mark}] {words}" for words, mark in marks.items()]
    for series in comparison.series:
        lines += [f"not in the trend of {series.quantity} of {series.finding}: {words}" for words in series.left_out]
    lines += comparison.notes
    for visit in comparison.visits:
        lines += [f"not read at visit {visit.number}: {item.where}: {item.note}" for item in visit.unread]
    if any(difference.link.value == "proposed" for difference in comparison.differences):
        lines.append("proposed: joined by place alone; a person decides whether it is the same finding")
    console.print_lines(*lines)


def _marks(comparison: Comparison) -> dict[str, int]:
    """Give a number to all that stands below the table: bands with their source, reasons and remarks."""
    words: dict[str, int] = {}
    for difference in comparison.differences:
        for text in _below(difference):
            words.setdefault(text, len(words) + 1)
    return words


def _below(difference: Difference) -> tuple[str, ...]:
    band = (difference.band.words,) if difference.band else ()
    return (*band, *difference.reasons, *difference.remarks)


def difference_row(difference: Difference, marks: dict[str, int]) -> list[str]:
    """One difference as cells."""
    verdict = difference.verdict.value
    notes = "".join(f" [{marks[text]}]" for text in _below(difference))
    return [
        difference.finding,
        difference.link.value,
        difference.quantity,
        _reading_words(difference.earlier),
        _reading_words(difference.later),
        _difference_words(difference),
        band_words(difference.band),
        verdict + notes,
    ]


def _reading_words(reading: Reading) -> str:
    return f"{reading.measurement.shown} ({_date(reading.visit.when.isoformat())})"


def _date(moment: str) -> str:
    return moment[:10]


def _difference_words(difference: Difference) -> str:
    if difference.difference is None:
        return "-"
    places = max(_places(difference.earlier), _places(difference.later))
    # Adding zero turns a rounded -0.0 into 0.0.
    value = round(difference.difference, places) + 0.0
    amount = f"{value:+.{places}f} {unit_words(difference.unit)}".rstrip()
    return f"{amount} in {difference.months:.1f} months"


def _places(reading: Reading) -> int:
    digits = reading.measurement.text
    return min(len(digits.partition(".")[2]), 4) if digits.replace(".", "").lstrip("-").isdigit() else 2


def band_words(band: Band | None) -> str:
    """Half width of a band with its sign and unit."""
    return f"± {band.half_width:.3f} {unit_words(band.unit)}" if band else "-"


def trend_row(series: Series) -> list[str]:
    """One trend as cells."""
    trend = series.trend
    # The tiny allowance is for the binary representation of decimal digits: 0.05625 is shown as 0.0563.
    slope, span = (trend.slope_per_month * (1 + 1e-9), trend.span_months) if trend else (0.0, 0.0)
    unit = unit_words(series.unit)
    return [
        series.finding,
        series.quantity,
        ", ".join(f"{_date(r.visit.when.isoformat())}: {r.measurement.shown}" for r in series.readings),
        f"{span:.1f} months",
        f"{slope:+.4f} {unit}/month ({slope * 12:+.3f} {unit}/year)".replace(" /", "/"),
    ]


# ------------------------------------------------------------------ JSON


def as_json(comparison: Comparison) -> dict[str, object]:
    """Everything that the tables say, with full precision."""
    return {
        "visits": [
            {
                "number": visit.number,
                "date": visit.when.isoformat(),
                "study_instance_uid": visit.study_uid,
                "device": visit.device,
                "from": visit.source,
                "not_read": [{"where": item.where, "note": item.note} for item in visit.unread],
            }
            for visit in comparison.visits
        ],
        "differences": [_difference_json(difference) for difference in comparison.differences],
        "series": [_series_json(series) for series in comparison.series],
        "notes": list(comparison.notes),
    }


def _difference_json(difference: Difference) -> dict[str, object]:
    return {
        "finding": difference.finding,
        "joined": difference.link.value,
        "quantity": difference.quantity,
        "earlier": _reading_json(difference.earlier),
        "later": _reading_json(difference.later),
        "difference": difference.difference,
        "unit": difference.unit,
        "months": difference.months,
        "per_month": difference.per_month,
        "verdict": difference.verdict.value,
        "band": _band_json(difference.band),
        "reasons": list(difference.reasons),
        "remarks": list(difference.remarks),
    }


def _reading_json(reading: Reading) -> dict[str, object]:
    number = reading.measurement
    return {
        "visit": reading.visit.number,
        "value": number.value,
        "unit": number.unit,
        "shown": number.shown,
        "corrected": number.is_corrected,
        "speed_m_per_s": number.speed_m_per_s,
        "contact": number.contact.value if number.contact else None,
    }


def _band_json(band: Band | None) -> dict[str, object] | None:
    return {"half_width": band.half_width, "unit": band.unit, "source": band.words} if band else None


def _series_json(series: Series) -> dict[str, object]:
    readings: Sequence[Reading] = series.readings
    trend = series.trend
    return {
        "finding": series.finding,
        "joined": series.link.value,
        "quantity": series.quantity,
        "unit": series.unit,
        "readings": [
            {"visit": reading.visit.number, "date": reading.visit.when.isoformat(), "value": value}
            for reading, value in zip(readings, series.values, strict=True)
        ],
        "band": _band_json(series.band),
        "trend": {
            "slope_per_month": trend.slope_per_month,
            "slope_per_year": 12 * trend.slope_per_month,
            "unit": trend.unit,
            "span_months": trend.span_months,
        }
        if trend
        else None,
        "left_out": list(series.left_out),
    }
