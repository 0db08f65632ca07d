"""The one table of refusal codes: what is wrong, and what the photographer can do about it."""

from __future__ import annotations

from vision.sighting import Reason

# code: (sentence, remedy). Codes are stable; texts may improve.
REASONS: dict[str, tuple[str, str]] = {
    "no_gauge": (
        "No micrometer scale was found in this picture.",
        "Fill at least a quarter of the picture's width with the sleeve and the thimble's edge.",
    ),
    "no_divisions": (
        "No engraved thimble divisions were found beside the reference line.",
        "Show the engraved scale; a display or an unmarked drum can't be read.",
    ),
    "too_small": (
        "The divisions are too small in this picture.",
        "Come closer, or crop and shrink less.",
    ),
    "blurred": (
        "The scale is too blurred.",
        "Rest the phone on something, tap the sleeve to focus, and take it again.",
    ),
    "glare": (
        "Glare or deep shadow wipes out the scale where it must be read.",
        "Turn the gauge or the lamp a little until the lines show along the whole scale.",
    ),
    "line_hidden": (
        "The reference line is turned out of view or covered.",
        "Roll the gauge until the reference line faces the camera, and keep fingers off it.",
    ),
    "cut_off": (
        "The scale runs out of the picture.",
        "Move back or to the side until sleeve and thimble edge are wholly in the picture.",
    ),
    "sleeve_unread": (
        "The sleeve's graduations and numbers could not be read.",
        "Show the sleeve from its first visible number to the thimble's edge, in even light.",
    ),
    "thimble_unread": (
        "The thimble's numbers could not be read.",
        "Show one of the thimble's numbers near the reference line, sharp and in even light.",
    ),
    "turn_ambiguous": (
        "The thimble stands so near a full turn that the picture fits two readings.",
        "Look at the gauge yourself, or record its edge's set from earlier photos.",
    ),
    "scale_ambiguous": (
        "Pitch and divisions could not be told from this picture.",
        "Name the gauge (--gauge) or its scale (--pitch and --divisions).",
    ),
    "scale_mismatch": (
        "What is engraved does not fit the scale that was named.",
        "Check the gauge's record, or whether this is another gauge's photo.",
    ),
    "mirrored": (
        "The picture is mirrored.",
        "Switch off the mirroring of the front camera, or flip the picture back.",
    ),
    "reversed_numbers": (
        "The numbers run the other way round than on an outside gauge.",
        "If this is a depth or groove gauge, say so in its record.",
    ),
    "uncertain": (
        "The evidence does not single out one reading.",
        "Take it again square on, closer and in even light.",
    ),
}


def reason(code: str, measured: float | None = None, limit: float | None = None) -> Reason:
    """Make the reason for a code of `REASONS`; KeyError for a code that is not there."""
    sentence, remedy = REASONS[code]
    if measured is not None and limit is not None:
        sentence = f"{sentence.rstrip('.')} ({measured:.2g}, limit {limit:.2g})."
    return Reason(code, sentence, remedy, measured, limit)
