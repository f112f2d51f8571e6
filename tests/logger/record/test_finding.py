"""A finding as JSON: every field, in the order in which people read them."""

from dataclasses import fields

from logger.record.finding import ALWAYS, WHERE_SET, Finding, Rival, Size

WHOLE = Finding(
    id="north-20251109T1800Z-1",
    cause="clogging",
    first_cause="worn-pump",
    began="2025-11-03T00:00:00Z",
    flagged="2025-11-09T18:00:00Z",
    confidence=0.8,
    evidence="e",
    check="c",
    also_possible=(Rival("worn-pump", 0.1),),
    size=Size("flow lost", 0.2, 0.1, 0.3, "fraction"),
    outside={"neighbours": "2025-11-09"},
)


def test_every_field_has_its_place_and_comes_back():
    assert {one.name for one in fields(Finding)} == {*ALWAYS, *WHERE_SET}
    made = WHOLE.as_dict()
    assert list(made) == [*ALWAYS, "outside"]
    assert Finding.from_dict(made) == WHOLE
