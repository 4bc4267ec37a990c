"""The standard colour of a blade fuse's body. Only a hint: the number printed on the fuse rules."""

from __future__ import annotations

# ISO 8820-3 / DIN 72581-3 colour code; three public lists agree (electronics reference sheet, two fuse charts). Lists
# that differ exist (5 A "orange", 35 A "rose"), which is why the number is always printed too.
_MEDIUM: dict[float, str] = {
    1.0: "black",
    2.0: "grey",
    3.0: "violet",
    4.0: "pink",
    5.0: "tan",
    7.5: "brown",
    10.0: "red",
    15.0: "blue",
    20.0: "yellow",
    25.0: "clear",
    30.0: "green",
    35.0: "blue-green",
    40.0: "orange",
}
# High current, type E: DIN 72581-3 form E extract for 20 to 80 A; 100 and 120 A in one public list.
_HIGH: dict[float, str] = {
    20.0: "yellow",
    30.0: "green",
    40.0: "orange",
    50.0: "red",
    60.0: "blue",
    70.0: "brown",
    80.0: "clear",
    100.0: "violet",
    120.0: "pink",
}


def blade_colour(type: str | None, rating_a: float) -> str | None:
    """The colour in words of a blade fuse of a type (C, E, F; None: not said) and a rating in A.

    None where no published list has that rating for that type. Where the type is not said both lists are asked: they
    agree wherever both have a rating.
    """
    if type == "E":
        return _HIGH.get(rating_a)
    colour = _MEDIUM.get(rating_a)
    return _HIGH.get(rating_a) if colour is None and type is None else colour
