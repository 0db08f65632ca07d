"""What was seen in a photo: a sighting, or a refusal with its reasons. Values only.

Points are (x, y) in pixels of the photo as it is meant to be looked at (EXIF turn applied), x
right, y down, origin at the centre of the first pixel.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from vision.scale import Scale

Point = tuple[float, float]
Segment = tuple[Point, Point]


@dataclass(frozen=True)
class Numeral:
    """A number read on the sleeve or the thimble."""

    where: Point
    on: str  # "sleeve" or "thimble"
    value: int
    probability: float


@dataclass(frozen=True)
class Evidence:
    """Where everything was found, in photo pixels; empty where nothing was.

    `to_closeup` holds the six numbers (row by row) of the 2 x 3 matrix that takes photo points to
    the upright close-up of the scale, of size `closeup_size` (width, height), thimble at the right.
    """

    to_closeup: tuple[float, ...] = ()
    closeup_size: tuple[int, int] = (0, 0)
    reference_line: Segment | None = None
    edge: tuple[Point, ...] = ()
    silhouettes: tuple[Segment, ...] = ()
    graduations: tuple[Segment, ...] = ()
    divisions: tuple[Segment, ...] = ()
    numerals: tuple[Numeral, ...] = ()
    edge_set_pitches: float | None = None  # edge past where the reading puts it, in pitches
    fit_residual_divisions: float | None = None  # rms misfit of the thimble's divisions


@dataclass(frozen=True)
class Alternative:
    """One possible reading and the probability that it is the right one."""

    turns: int
    division: float
    probability: float


@dataclass(frozen=True)
class Reason:
    """Why a photo is refused: code, sentence, what to do, and the figure against its limit."""

    code: str
    message: str
    remedy: str
    measured: float | None = None
    limit: float | None = None


@dataclass(frozen=True)
class Sighting:
    """What the scale in a photo shows.

    `turns` counts whole pitches uncovered on the sleeve (from the range start; -1 for a closed
    gauge that shows less than nothing); `division` is the number at the reference line, 0 up to
    `scale.divisions`, as a straight look would find it, corrected for parallax.
    """

    scale: Scale
    scale_given: bool
    scale_probability: float  # 1.0 where the scale was given
    turns: int
    division: float
    u_division: float  # standard uncertainty of `division`
    confidence: float  # probability of being within one division of a perfect reader's reading
    px_per_division: float
    roll_rad: float
    parallax_divisions: float  # what was taken off `division` as seen
    alternatives: tuple[Alternative, ...] = ()  # best first, this reading included; sum at most 1
    evidence: Evidence = field(default_factory=Evidence, compare=False)

    @property
    def shown_divisions(self) -> float:
        """The reading above the range start, counted in thimble divisions."""
        return self.turns * self.scale.divisions + self.division


@dataclass(frozen=True)
class Refusal:
    """A photo that can't be read: why, most useful reason first, and what was found anyway."""

    reasons: tuple[Reason, ...]
    scale: Scale | None = None  # what `alternatives` count in
    alternatives: tuple[Alternative, ...] = ()
    px_per_division: float | None = None
    evidence: Evidence = field(default_factory=Evidence, compare=False)

    def __post_init__(self) -> None:
        if not self.reasons:
            raise ValueError("a refusal needs at least one reason")
