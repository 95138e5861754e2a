"""What a standardized A-scan tells of a structure: percent with its class, or decibels against another structure.

Neither stands without the tissue sensitivity at which it holds, and a class never without its scheme.
"""

from __future__ import annotations

from gateway.builders.sr.content import Child, ContentItem, code, has_property, inferred_from, modifier, num
from gateway.builders.sr.scope import ReportScope, finding_site
from gateway.builders.sr.values import Num
from gateway.model.a_scan import StructureEcho
from gateway.model.laterality import Eye
from gateway.standard.codes import concept


def echo_item(echo: StructureEcho, eye: Eye, scope: ReportScope) -> ContentItem:
    """Return one reflectivity or one difference as a measurement (PS3.16 TID 300).

    Raises
    ------
    ReferencedImageMissingError
        If its image was not built.
    """
    name, number, about = _difference(echo, scope) if echo.reflectivity is None else _percent(echo, scope)
    image = scope.image(echo.capture_id)
    sensitivity = Num(echo.tissue_sensitivity_db, concept("unit", "dB"))
    against = f" against {echo.reference.replace('-', ' ')}" if echo.reference else ""
    label = f"{name} of {echo.structure.replace('-', ' ')}{against}, {echo.capture_id}"
    path = scope.capture_path(image)
    return ContentItem(
        concept("sr", name),
        number,
        (
            modifier(code(concept("sr", "measurement-method"), concept("sr", "standardized-a-scan"))),
            finding_site(echo.structure, eye),
            inferred_from(ContentItem(concept("sr", "source-of-measurement"), image.reference())),
            inferred_from(num(concept("sr", "tissue-sensitivity"), sensitivity)),
            *about,
            *scope.tracking(label, label),
        ),
        observed=image.capture.acquired,
        origin=f"{path}.a_scan",
    )


def _percent(echo: StructureEcho, scope: ReportScope) -> tuple[str, Num, tuple[Child, ...]]:
    found = echo.reflectivity
    if found is None:  # pragma: no cover  (the caller asked)
        return _difference(echo, scope)
    of_class = concept("reflectivity_class", found.reflectivity_class.value)
    about = (
        has_property(code(concept("sr", "reflectivity-class"), of_class)),
        has_property(scope.own_words(concept("sr", "comment"), f"scheme of classes: {found.scheme}")),
    )
    return "reflectivity", Num(found.percent, concept("unit", "%"), found.text), about


def _difference(echo: StructureEcho, scope: ReportScope) -> tuple[str, Num, tuple[Child, ...]]:
    """Return how much weaker an echo is, with the two gains that bring both echoes to the same height."""
    about = (
        has_property(code(concept("sr", "echo-reference"), concept("structure", echo.reference))),
        has_property(scope.own_words(concept("sr", "comment"), echo.difference_words)),
    )
    return "echo-difference", Num(echo.weaker_by_db or 0.0, concept("unit", "dB")), about
