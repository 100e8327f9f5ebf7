"""lanesim: how a bowling ball moves on an oil pattern, and what follows for strikes.

The package imports nothing heavy by itself; import the module you need:

>>> from lanesim.lane import BOARDS
>>> BOARDS
39
"""

__version__ = "0.1.0"
