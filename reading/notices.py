"""The one table of warnings that a reading may carry, and the caution with all of them."""

from __future__ import annotations

from dataclasses import dataclass

CAUTION = (
    "A photo reading is not a calibrated measurement: where a fit or anyone's safety depends on "
    "it, measure again with a calibrated gauge under the authorised inspection procedure."
)

# code: sentence. Codes are stable; texts may improve.
NOTICES: dict[str, str] = {
    "no_gauge": "No gauge was named, so no zero error is taken off.",
    "no_zero_check": (
        "No zero check is on record for this gauge, so no zero error is taken off: "
        "close the gauge and record one (datumline zero)."
    ),
    "zero_check_later": (
        "Every zero check on record is later than this photo, so no zero error is taken off."
    ),
    "zero_check_old": "The zero check is {days} days old: check the zero again.",
    "time_unknown": (
        "When the photo was taken is unknown, so the zero check in force now is used: say --on."
    ),
    "file_dated": "The photo has no time of its own: its file's date chose the zero check.",
    "dated_ahead": (
        "{date} is still to come by this computer's clock, and it counts only from then on: check "
        "the clocks of camera and computer."
    ),
    "calibration_later": (
        "Every calibration on record is later than this photo, so the error of the screw is not "
        "taken off."
    ),
    "low_confidence": "Confidence {confidence:.2f} is low: look at the overlay before using this.",
    "scale_inferred": "Pitch and divisions were told from the picture: check {scale}.",
    "below_range": "The reading lies below the start of the gauge's range.",
    "beyond_range": "The reading lies beyond the end of the gauge's range.",
    "outlier": (
        "Reading {place} ({value}) lies farther off than chance explains (Grubbs, G = {g:.2f}, "
        "critical {critical:.2f} at 5 %): look at it again. It was not left out."
    ),
    "photo_unsure": (
        "{photo}: confidence {confidence:.2f} is low, look at its overlay before using this."
    ),
    "turn_apart": (
        "Readings {low} and {high} lie half a turn or more apart: one may be a turn wrong, look at "
        "both again."
    ),
    "gauge_state": "State of this gauge: {words}.",
    "no_calibration": (
        "No calibration and no error limit is on record for this gauge: the error of its screw is "
        "not in the uncertainty (datumline gauge calibrate, or gauge set --limit)."
    ),
    "no_temperature": (
        "No temperature was given: work and gauge are taken to be at 20 °C, and no doubt about "
        "that is in the uncertainty."
    ),
    "warm": "Warmth alone would change the result by {change}: it is taken off.",
}


@dataclass(frozen=True)
class Notice:
    """A warning: its stable code and its sentence."""

    code: str
    message: str


def notice(code: str, **figures: object) -> Notice:
    """Make the warning for a code of `NOTICES`; KeyError for a code that is not there."""
    return Notice(code, NOTICES[code].format(**figures))
