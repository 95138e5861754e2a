"""A speed of sound behind a number."""

from __future__ import annotations

from gateway.builders.sr.content import Child, ContentItem, inferred_from, modifier, num, text
from gateway.builders.sr.scope import ReportScope
from gateway.builders.sr.values import Num
from gateway.standard.codes import concept


def speed_item(
    speed_m_per_s: float, words: str, source: str, scope: ReportScope, where: tuple[Child, ...] = ()
) -> ContentItem:
    """Return a speed of sound that says whose it is; below a NUM, INFERRED FROM is its place in Comprehensive SR.

    Parameters
    ----------
    where : tuple of Child
        Line on the picture from which on it holds.
    """
    children = [modifier(scope.own_words(concept("sr", "equivalent-meaning"), words))]
    if source:
        children.append(inferred_from(text(concept("sr", "source"), source)))
    return num(concept("sr", "speed-of-sound"), Num(speed_m_per_s, concept("unit", "m/s")), *children, *where)
