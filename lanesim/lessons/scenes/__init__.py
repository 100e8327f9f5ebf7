"""The scenes of the lessons: each computes what its text says, with the same studies as the
commands, and names the pictures that show it.
"""
