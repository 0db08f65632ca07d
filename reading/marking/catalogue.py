"""The catalogue of slips made in reading a micrometer by hand: values only.

Each entry has its rule, what it is called, what to tell the person who made it, how to avoid it,
and where it is described. Nobody has published how often each is made. `weight` is therefore a
default order of suspicion and no frequency; it can be learned from a class's own decided marks.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from reading.marking import signatures as rule


class Stage(IntEnum):
    """Where in the working a slip is made; later stages go on from the earlier ones."""

    SLEEVE = 1
    DIVISION = 2
    LEAST_COUNT = 3
    SUM = 4
    ZERO = 5
    UNIT = 6
    DECIMALS = 7
    HANDLING = 8  # before anything is read


PRACTICE = "common practice of teaching"
WORKSHEET = '"Micrometer Screw Gauge Worksheet With Solution", common mistakes'
CAUTIONS = '"Cautions for using the micrometers"'
PRACTICAL_NOTES = '"Using a micrometer", practical skills notes'
EXAMINERS = "West African examination council, chief examiners' reports, physics practical"
BACKLASH = '"What is backlash error? Why is it caused? How is it avoided?"'

# Default order of suspicion: what a teacher looks for first, then, later, last. No frequencies.
FIRST, THEN, LATER, LAST = 8.0, 4.0, 2.0, 1.0


@dataclass(frozen=True)
class Slip:
    """One slip.

    Parameters
    ----------
    code : str
        Stays the same for ever.
    stage : Stage
        The step of the working that it spoils.
    sentence : str
        What was done, without a full stop.
    feedback : str
        What to tell the person who made it.
    avoid : str
        How not to make it again.
    source : str
        Where it is described.
    weight : float
        Place in the default order of suspicion.
    rule : Rule
        The right working -> every working that the slip may lead to.
    """

    code: str
    stage: Stage
    sentence: str
    feedback: str
    avoid: str
    source: str
    weight: float
    rule: rule.Rule


# In the order in which a teacher would look for them when several fit equally well.
SLIPS: tuple[Slip, ...] = (
    Slip(
        "zero_forgotten",
        Stage.ZERO,
        "the zero error was not taken off",
        "You gave what the gauge shows. It shows something with its faces closed, too.",
        "Close the gauge first, write its zero error down with its sign, and end every reading "
        "with: corrected = shown − zero error.",
        f"{WORKSHEET}; {PRACTICAL_NOTES}",
        FIRST,
        rule.zero_forgotten,
    ),
    Slip(
        "zero_sign_wrong",
        Stage.ZERO,
        "the zero error was added, not taken off",
        "You put the zero error on. It has to come off, sign and all.",
        "Ask: does the closed gauge show too much? Then every reading is too large by that much.",
        PRACTICE,
        FIRST,
        rule.zero_sign_wrong,
    ),
    Slip(
        "zero_applied_twice",
        Stage.ZERO,
        "the zero error was taken off twice",
        "You took the zero error off two times.",
        "Write the shown reading and the corrected reading in two columns, and correct once, from "
        "the one to the other.",
        PRACTICE,
        LATER,
        rule.zero_applied_twice,
    ),
    Slip(
        "negative_zero_taken_positive",
        Stage.ZERO,
        "the negative zero error was read as a positive one",
        "Closed, your gauge stands a little below zero: the number near the line is to be counted "
        "back from a full turn, as 47 of 50 is −3 divisions.",
        "Look whether the thimble has passed its 0 or has not reached it yet.",
        PRACTICE,
        THEN,
        rule.negative_zero_taken_positive,
    ),
    Slip(
        "zero_misread",
        Stage.ZERO,
        "the zero error was read wrongly",
        "Your zero error is not what this gauge shows with its faces closed.",
        "Wipe the faces, close them by the ratchet, and read the zero as carefully as the rest.",
        PRACTICE,
        LATER,
        rule.comes_out_anyhow,
    ),
    Slip(
        "correction_miscalculated",
        Stage.ZERO,
        "shown reading less zero error was not worked out right",
        "Your reading and the zero error do not give your corrected reading.",
        "Write the zero error with its sign in brackets before you take it off.",
        PRACTICE,
        LATER,
        rule.comes_out_anyhow,
    ),
    Slip(
        "half_line_missed",
        Stage.SLEEVE,
        "the half-millimetre line was missed",
        "One more line, a half-millimetre one, was uncovered on the sleeve.",
        "Before you read the thimble, look on the other side of the reference line for one more "
        "half-millimetre line beside the thimble's edge.",
        f"{WORKSHEET}; {CAUTIONS}",
        FIRST,
        rule.half_line_missed,
    ),
    Slip(
        "next_line_counted",
        Stage.SLEEVE,
        "the next sleeve line was counted before its turn was complete",
        "The thimble stands at a high number, so the line just coming out does not count yet.",
        "Near the end of a turn trust the thimble: the new line counts when the thimble passes 0.",
        PRACTICE,
        THEN,
        rule.next_line_counted,
    ),
    Slip(
        "hidden_line_missed",
        Stage.SLEEVE,
        "a sleeve line already passed was missed at the thimble's edge",
        "The thimble stands at a low number, so a line has just been passed, though the edge still "
        "hides it.",
        "Just past 0 trust the thimble: the line at its edge counts, even when it hardly shows.",
        PRACTICE,
        THEN,
        rule.hidden_line_missed,
    ),
    Slip(
        "half_line_added",
        Stage.SLEEVE,
        "half a millimetre was added that is not uncovered",
        "No half-millimetre line is uncovered behind the last millimetre line.",
        "Add 0.5 mm only when you can see its line.",
        PRACTICE,
        THEN,
        rule.half_line_added,
    ),
    Slip(
        "neighbouring_division",
        Stage.DIVISION,
        "the next thimble division was read",
        "The division beside yours is nearer to the reference line.",
        "Find the division nearest to the reference line; count it from a number on both sides.",
        PRACTICE,
        THEN,
        rule.neighbouring_division,
    ),
    Slip(
        "parallax",
        Stage.DIVISION,
        "the line was looked at from the side",
        "You are off by no more than a division: you may have looked from above or below.",
        "Hold the gauge so that the reference line faces you squarely before you read.",
        f"{WORKSHEET}; {PRACTICAL_NOTES}",
        LATER,
        rule.neighbouring_division,
    ),
    Slip(
        "counted_wrong_way",
        Stage.DIVISION,
        "the divisions were counted the wrong way from a numbered line",
        "You began at a numbered line and counted against the order of the numbers.",
        "Look at the next two numbers on the thimble: the divisions grow from the smaller to the "
        "larger.",
        PRACTICE,
        THEN,
        rule.counted_wrong_way,
    ),
    Slip(
        "wrong_thimble_number",
        Stage.DIVISION,
        "the count began from a wrong numbered thimble line",
        "Your count is right, but it began at the wrong number on the thimble.",
        "Read the number on both sides of the reference line before you count.",
        PRACTICE,
        LATER,
        rule.wrong_thimble_number,
    ),
    Slip(
        "digits_swapped",
        Stage.SUM,
        "two digits were swapped",
        "Two figures changed places between the gauge and your paper.",
        "Read the number aloud from your paper and look at the gauge once more.",
        PRACTICE,
        THEN,
        rule.digits_swapped,
    ),
    Slip(
        "thimble_backwards",
        Stage.DIVISION,
        "the whole thimble was counted backwards",
        "You counted the thimble from its far end.",
        "The thimble's numbers grow as the gauge opens: begin at the smaller number.",
        PRACTICE,
        LATER,
        rule.thimble_backwards,
    ),
    Slip(
        "wrong_sleeve_number",
        Stage.SLEEVE,
        "the count began from a wrong numbered sleeve line",
        "Your count is right, but it began at the wrong number on the sleeve.",
        "Find the last number that is wholly in view on the sleeve and count on from there.",
        PRACTICE,
        LATER,
        rule.wrong_sleeve_number,
    ),
    Slip(
        "only_one_scale",
        Stage.SUM,
        "only the sleeve or only the thimble was read",
        "A reading has two parts; you gave one of them.",
        "Write both down, the sleeve and the division times the least count, then add.",
        PRACTICE,
        THEN,
        rule.only_one_scale,
    ),
    Slip(
        "parts_not_added",
        Stage.SUM,
        "sleeve and thimble parts were not added up right",
        "Both parts are there, but their sum is not.",
        "Write the two parts under each other, point under point, and add.",
        PRACTICE,
        THEN,
        rule.carry_dropped,
    ),
    Slip(
        "half_lines_as_millimetres",
        Stage.SLEEVE,
        "the sleeve's lines were counted as whole millimetres",
        "On this gauge a line stands every half millimetre; you counted each as one.",
        "Count only the lines on the numbered side as millimetres, then look for one more half.",
        f"{PRACTICE}; {CAUTIONS}",
        LATER,
        rule.half_lines_as_millimetres,
    ),
    Slip(
        "wrong_scale",
        Stage.LEAST_COUNT,
        "the least count was taken twice or half as large",
        "Your divisions are worth half or twice as much on this gauge.",
        "Work the least count out for the gauge in your hand: pitch ÷ divisions on the thimble.",
        PRACTICE,
        LATER,
        rule.wrong_scale,
    ),
    Slip(
        "least_count_tenfold",
        Stage.LEAST_COUNT,
        "the least count was taken ten times too small or too large",
        "The point stands in the wrong place in the thimble's part.",
        "Work the least count out once, as 0.5 mm ÷ 50 = 0.01 mm, and write it above the table.",
        PRACTICE,
        THEN,
        rule.least_count_tenfold,
    ),
    Slip(
        "division_as_tenths",
        Stage.LEAST_COUNT,
        "a one-figure division was written as tenths",
        "Division 7 is seven hundredths, 0.07, not 0.7.",
        "Write divisions below ten with a 0 before them.",
        PRACTICE,
        THEN,
        rule.division_as_tenths,
    ),
    Slip(
        "range_start_left_out",
        Stage.SLEEVE,
        "the start of the range was left out",
        "This gauge does not begin at 0: the start of its range belongs to every reading.",
        "Read the range on the frame before you read the sleeve.",
        PRACTICE,
        LATER,
        rule.range_start_left_out,
    ),
    Slip(
        "radius_for_diameter",
        Stage.SUM,
        "the value was halved or doubled, as a radius for a diameter",
        "The gauge shows the diameter; you gave half or twice of it.",
        "Write what the gauge shows; work the radius out in a line of its own.",
        PRACTICE,
        LAST,
        rule.radius_for_diameter,
    ),
    Slip(
        "unit_slip",
        Stage.UNIT,
        "the value was written in the wrong unit",
        "Your number belongs to another unit than the one that stands with it.",
        "Write the unit beside the number at once; 1 cm = 10 mm, and a wire is never 6 cm thick.",
        EXAMINERS,
        THEN,
        rule.unit_slip,
    ),
    Slip(
        "unit_missing",
        Stage.UNIT,
        "the unit was left out",
        "A length is a number and a unit; the unit is missing.",
        "Write the unit beside every result, or at the head of the column.",
        EXAMINERS,
        THEN,
        rule.in_the_writing,
    ),
    Slip(
        "too_few_decimals",
        Stage.DECIMALS,
        "too few decimals were written",
        "This gauge tells more decimals than you wrote, and a zero at the end is one of them.",
        "Write as many decimals as the least count has: 5.50 mm, not 5.5 mm.",
        f"{PRACTICAL_NOTES}; {EXAMINERS}",
        THEN,
        rule.in_the_writing,
    ),
    Slip(
        "too_many_decimals",
        Stage.DECIMALS,
        "more decimals were written than the scale can tell",
        "The last figure that you wrote cannot be read off this gauge.",
        "Write as many decimals as the least count has, no more.",
        EXAMINERS,
        LATER,
        rule.in_the_writing,
    ),
    Slip(
        "forced_shut",
        Stage.HANDLING,
        "the gauge was forced, or closed without the ratchet",
        "All that you measured comes out a little small against the others of the class.",
        "Close the last bit with the ratchet only, until it clicks.",
        f"{PRACTICAL_NOTES}; {CAUTIONS}",
        LATER,
        rule.over_several,
    ),
    Slip(
        "wrong_approach",
        Stage.HANDLING,
        "the faces were brought up from the wrong side, or not closed on the work",
        "All that you measured comes out a little large against the others of the class.",
        "Wipe the faces, and always come to the work by closing, never by opening.",
        BACKLASH,
        LATER,
        rule.over_several,
    ),
)

BY_CODE = {slip.code: slip for slip in SLIPS}
ORDER = {slip.code: place for place, slip in enumerate(SLIPS)}
