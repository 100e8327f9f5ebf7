"""Ten pins: carry, leaves and spares.

`table` (strike chance and leaves by entry), `spares` (conversion of leaves),
`outcomes.pins_from_shots` (strikes, leaves and pins per game of a set of shots), `score` (games),
`model` (one ball into ten pins) and, behind it, `deck` (the rigid bodies).
"""
