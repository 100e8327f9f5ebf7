"""`python -m lanesim.cli` does what `lanesim` does."""

from . import main

main()
