"""An example of each conversion, as a rule writes it; what comes of it is worked out when it is shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gateway.mapping.conversions import convert
from gateway.model.laterality import Eye


@dataclass(frozen=True, slots=True)
class Example:
    """One conversion of one text.

    Parameters
    ----------
    written : str
        What stands behind ``with:``.
    eye : Eye or None
        Of the capture, where the conversion needs it.
    """

    name: str
    parameters: Mapping[str, object]
    text: str
    written: str
    eye: Eye | None = None

    @property
    def result(self) -> str:
        """The text of the exam document."""
        return convert(self.name, self.parameters, self.text, self.eye)


def conversion_examples() -> tuple[Example, ...]:
    """Return the examples, at least one for each conversion."""
    return (
        Example("date", {"form": "DD.MM.YYYY"}, "07.11.1961", "{date: {form: DD.MM.YYYY}}"),
        Example(
            "date_time",
            {"form": "DD.MM.YYYY HH:mm", "zone": "Europe/Berlin"},
            "11.03.2026 10:05",
            "{date_time: {form: DD.MM.YYYY HH:mm, zone: Europe/Berlin}}",
        ),
        Example(
            "date_time",
            {"form": "D MMM YYYY HH'h'mm", "language": "fr"},
            "3 mars 2026 14h05",
            """{date_time: {form: "D MMM YYYY HH'h'mm", language: fr}}""",
        ),
        Example("time", {"form": "h:mm AP"}, "2:05 pm", "{time: {form: h:mm AP}}"),
        Example("person_name", {"form": "Family, Given"}, "Holm, Maija", '{person_name: {form: "Family, Given"}}'),
        Example("sex", {"languages": ["de"]}, "w", "{sex: {languages: [de]}}"),
        Example("eye", {"languages": ["la"]}, "OD", "{eye: {languages: [la]}}"),
        Example("yes_no", {"languages": ["en"]}, "Yes", "{yes_no: {languages: [en]}}"),
        Example("clock_hour", {}, "03:30", "clock_hour"),
        Example(
            "clock_hour",
            {"form": "degrees", "zero_hour": "3", "turn": "counter-clockwise"},
            "180",
            "{clock_hour: {form: degrees, zero_hour: 3, turn: counter-clockwise}}",
        ),
        Example("clock_hour", {"form": "words"}, "nasal", "{clock_hour: {form: words}}", Eye.RIGHT),
        Example("scan", {"words": {"quer": "transverse"}}, "quer", "{scan: {words: {quer: transverse}}}"),
        Example("zone", {}, "equatorial", "zone"),
        Example("marker", {}, "superior nasal", "marker"),
        Example("gaze", {}, "straight ahead", "gaze"),
        Example("number", {"decimal": "comma"}, "84,5", "{number: {decimal: comma}}"),
        Example("length", {"unit": "cm"}, "4", "{length: {unit: cm}}"),
        Example("speed", {}, "1.55 mm/us", "speed"),
        Example("frequency", {}, "12500 kHz", "frequency"),
        Example("percent", {}, "85 %", "percent"),
        Example("text", {"prefix": "PAT-"}, "PAT-0042", "{text: {prefix: PAT-}}"),
        Example("word", {"words": {"Mb.": "membrane"}}, "Mb.", '{word: {words: {"Mb.": membrane}}}'),
    )
