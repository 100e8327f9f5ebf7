"""A player's grip: where the gripping holes go, how wide, deep and tilted, and where the PAP is."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import get_type_hints

from ..errors import InputError, check_range
from ..files import read_toml


@dataclass(frozen=True)
class Grip:
    """A player's grip: where the holes go, how wide, deep and tilted, and where the PAP is.

    Every default is an assumed mid-size hand (common practice, no source): measure the player.

    Parameters
    ----------
    pap_over_in, pap_up_in : float
        PAP from the grip centre [in]: along the midline toward the ball arm (0 to 7), then up
        the vertical axis line toward the fingers (-3 to 3; negative = toward the thumb).
    span_in : float
        Thumb hole to finger hole, edge to edge along the surface and parallel to the centre line
        [in], 2 to 6. The grip centre is half a span from either. Without a thumb hole it is where
        that centre would be.
    ring_span_in : float or None
        The ring finger's span where it differs; the grip centre then halves the mean span.
    bridge_in : float
        Between the finger holes, edge to edge along the surface [in], 0.1 to 2.
    finger_diameter_in, thumb_diameter_in : float
        Diameters as drilled [in], 0.3 to 1.75.
    finger_depth_in, thumb_depth_in : float
        Depth along the axis from the surface to the flat bottom [in], 0 (no hole) to 4.
    middle_forward_in, ring_forward_in, thumb_forward_in : float
        Pitch along the centre line [in], -1.5 to 1.5: how far from the ball's centre the hole's
        axis crosses the plane through the centre that is square to the radius at the hole;
        positive where the bottom leans toward the grip centre (forward), negative for reverse.
    middle_lateral_in, ring_lateral_in, thumb_lateral_in : float
        Pitch along the midline [in], -1.5 to 1.5, positive where the bottom leans toward the ball
        arm.
    fingers : int
        Finger holes: 2, or 1 (on the centre line).
    thumb : bool
        False for a ball without a thumb hole.
    """

    pap_over_in: float = 5.0
    pap_up_in: float = 0.5
    span_in: float = 4.25
    ring_span_in: float | None = None
    bridge_in: float = 0.375
    finger_diameter_in: float = 0.875
    finger_depth_in: float = 1.25
    thumb_diameter_in: float = 1.0
    thumb_depth_in: float = 2.75
    middle_forward_in: float = 0.0
    middle_lateral_in: float = 0.0
    ring_forward_in: float = 0.0
    ring_lateral_in: float = 0.0
    thumb_forward_in: float = 0.0
    thumb_lateral_in: float = 0.0
    fingers: int = 2
    thumb: bool = True

    def __post_init__(self) -> None:
        ranges = {
            "pap_over_in": (0.0, 7.0),
            "pap_up_in": (-3.0, 3.0),
            "span_in": (2.0, 6.0),
            "bridge_in": (0.1, 2.0),
            "finger_diameter_in": (0.3, 1.75),
            "finger_depth_in": (0.0, 4.0),
            "thumb_diameter_in": (0.3, 1.75),
            "thumb_depth_in": (0.0, 4.0),
        }
        for hole in ("middle", "ring", "thumb"):
            ranges[f"{hole}_forward_in"] = ranges[f"{hole}_lateral_in"] = (-1.5, 1.5)
        if self.ring_span_in is not None:
            ranges["ring_span_in"] = (2.0, 6.0)
        for name, (low, high) in ranges.items():
            value = check_range(name, getattr(self, name), low, high, "in", where="grip")
            object.__setattr__(self, name, value)
        if isinstance(self.fingers, bool) or self.fingers not in (1, 2):
            raise InputError(f"grip: fingers must be 1 or 2, not {self.fingers!r}")
        if not isinstance(self.thumb, bool):
            raise InputError(f"grip: thumb must be true or false, not {self.thumb!r}")


DEFAULT_GRIP = Grip()


def load_grip(path: str | Path) -> Grip:
    """A grip from a TOML file whose keys are the fields of `Grip`; unknown keys are refused."""
    import msgspec

    hints = get_type_hints(Grip)
    struct = msgspec.defstruct(
        "GripFile",
        [(f.name, hints[f.name], f.default) for f in fields(Grip)],
        forbid_unknown_fields=True,
        kw_only=True,
    )
    entry = read_toml(path, struct, "grip")
    try:
        return Grip(**msgspec.structs.asdict(entry))
    except InputError as error:
        raise InputError(f"{path}: {error}") from None
