"""The pin deck: eleven rigid bodies that hit each other, compiled, one thread a ball.

`pin` (the pin's shape and mass), `nearest` (how far bodies are apart), `touch` (which are near),
`blow` (what a blow does), `roll` (one ball from first contact to the count). Everything here is
written for one thread with scalars and rows of floats handed in, so that numba compiles the same
text for a processor and for a graphics card.
"""
