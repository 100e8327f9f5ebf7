"""Ten pins: carry, leaves and spares.

`table` (strike chance and leaves by entry; no engine needed), `spares` (conversion of leaves),
`outcomes.pins_from_shots` (strikes, leaves and pins per game of a set of shots), `model` (the
rigid bodies behind the tables; needs the extra `pins`).
"""
