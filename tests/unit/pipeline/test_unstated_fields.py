"""Rules of a mapping that found nothing, as ``gateway mapping explain`` lists them."""

from __future__ import annotations

from gateway.errors import Place
from gateway.mapping.sources.exam import Trace
from gateway.pipeline.explanation import unstated_fields

RULE = Place("site.yaml", 28, 5)


def test_a_rule_that_found_nothing_is_named_once_with_where_it_looked() -> None:
    absent = {f"captures[{n}].zone": Trace((), RULE, "", "record list Zone, did you mean zone?") for n in range(5)}
    stated = {"patient.id": Trace((("record list number", Place("list.csv", 2, 1)),), Place("site.yaml", 9, 5), "")}
    assert unstated_fields({**stated, **absent}) == (
        "captures[0].zone, captures[1].zone, captures[2].zone, 2 more: "
        "nothing at record list Zone, did you mean zone? (site.yaml:28)",
    )
    assert unstated_fields(dict(list(absent.items())[:1])) == (
        "captures[0].zone: nothing at record list Zone, did you mean zone? (site.yaml:28)",
    )
    assert unstated_fields(stated) == ()
