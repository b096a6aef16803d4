"""Which flow of a record a section is said to be of."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.errors import Fault
from flowrig.records.files import near_name, quoted
from flowrig.records.items import Section
from flowrig.records.record import Flow
from flowrig.records.words import folded


def flow_unnamed(section: Section, flows: Sequence[Flow]) -> list[Fault]:
    """A fault where the words of its field `of` are those of no flow."""
    known = list(dict.fromkeys(flow.section.value("of", "") for flow in flows))
    said = section.value("of")
    if said is None or folded(said) in map(folded, known):
        return []
    words = [word for word in known if word]
    expected = f"one of: {', '.join(map(quoted, words))}" if words else "the words of a flow, and none has any"
    near = near_name(said, words)
    remedy = f"Did you mean {quoted(near)}?" if near else 'Write of = "…" in its [[flow]] sections too.'
    if not flows:
        expected, remedy = "no such words: the record holds no [[flow]]", "Remove the line."
    return [Fault(section["of"].where, quoted(said), expected, remedy)]
