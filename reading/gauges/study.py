"""Getting to know a gauge: what `gauge pitch`, `backlash` and `calibrate` do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from reading.book import Book
from reading.correct import unsure_readings
from reading.gauge import Gauge
from reading.gauges import calibration, facts
from reading.gauges.backlash import backlash_lines, find_backlash
from reading.gauges.calibration import Block, Conditions
from reading.gauges.certificate import calibration_lines, certificate
from reading.gauges.report import Telling, Told, study_report
from reading.gauges.turns import check_pitch, pair_up, pitch_lines
from reading.gauges.working import (
    backlash_working,
    calibration_working,
    indented,
    pitch_working,
)
from reading.length import as_entered, how_many, parse_length, plain, trimmed
from reading.looking import pictures
from reading.measurement.measure import About, measure
from reading.measurement.parsing import parse_readings
from reading.measurement.result import Measurement
from reading.measurement.taking import Taken, Wanted, kept, take
from reading.measurement.temperature import GAUGE_PER_K, Warmth
from reading.pages import html
from reading.problem import Problem
from reading.record import BACKLASH, FACTS, PITCH, KeptReading, Record, Signed
from reading.result import When
from reading.terminal import DONE, Say

COVERED = 2.0  # block sets state their uncertainty with k = 2 (common practice)


@dataclass(frozen=True)
class Study:
    """Which gauge is looked into, and who does it."""

    gauge: Gauge
    signed: Signed
    telling: Telling = field(default_factory=Telling)


def pitch(study: Study, wanted: Wanted, turns: str, book: Book, say: Say, complain: Say) -> int:
    """Check pitch and least count by counted turns, and record it."""
    gauge, signed = study.gauge, study.signed
    taken = take(gauge, wanted, book, say, complain)
    if isinstance(taken, int):
        return taken
    found = check_pitch(gauge, pair_up([one.shown for one in taken.readings], turns))
    body = {
        "pairs": [[plain(one.before), plain(one.after), one.turns] for one in found.pairs],
        "pitch": trimmed(found.pitch),
        "u": found.u,
        "spread": found.spread,
        "agrees": found.agrees,
        "remarks": list(found.remarks),
    }
    record = Record(gauge.identifier, PITCH, taken.when.at, body, signed.who, signed.note)
    book.keep(record, _rows(gauge, taken, signed))
    lines = [*pitch_lines(found), *_doubts([taken])]
    if taken.looks:
        lines.append(
            "  photos count graduations of the recorded pitch: they check the turns, not the pitch"
        )
    _tell(study, [taken], Told("Pitch", lines, pitch_working(found)), say)
    return DONE


def backlash(study: Study, sides: Sequence[Wanted], book: Book, say: Say, complain: Say) -> int:
    """Find the backlash and record it.

    `sides` are what was read closing and what was read opening; or one side alone, in which
    readings closing and opening come in turn.
    """
    gauge, signed = study.gauge, study.signed
    found = []
    for side in sides:
        taken = take(gauge, side, book, say, complain)
        if isinstance(taken, int):
            return taken
        found.append(taken)
    if len(found) == 1:
        readings = found[0].readings
        found = [replace(found[0], readings=readings[i::2]) for i in (0, 1)]
    closing, opening = ([one.shown for one in taken.readings] for taken in found)
    worked = find_backlash(gauge, closing, opening)
    body = {
        "closing": [plain(one) for one in closing],
        "opening": [plain(one) for one in opening],
        "backlash": trimmed(worked.value),
        "u": worked.u,
        "verdict": worked.verdict,
    }
    at = found[0].when.at
    record = Record(gauge.identifier, BACKLASH, at, body, signed.who, signed.note)
    rows = [row for taken in found for row in _rows(gauge, taken, signed)]
    book.keep(record, rows)
    lines = [*backlash_lines(worked), *_doubts(found)]
    _tell(study, found, Told("Backlash", lines, backlash_working(worked)), say)
    return DONE


def _tell(study: Study, found: Sequence[Taken], told: Told, say: Say) -> None:
    """Say a result, with its working and on a page where that was asked for."""
    say("\n".join(told.lines))
    telling, gauge, when = study.telling, study.gauge, found[0].when
    if telling.explain:
        say("\n".join(indented(told.working)))
    if telling.page is not None:
        looks = list(dict.fromkeys(look for taken in found for look in taken.looks))
        drawn = pictures(looks, gauge, when)
        html.save(study_report(gauge, told, when.at, study.signed.who, drawn), telling.page)
        say(f"  page: {telling.page}")


@dataclass(frozen=True)
class Entered:
    """What was typed beside a calibration's readings; None and empty where nothing was."""

    blocks: str | None = None
    deviations: str | None = None
    blocks_u: str | None = None  # expanded, k = 2, as block sets state it
    blocks_note: str = ""
    temperature: Decimal | None = None
    flatness: str | None = None
    parallelism: str | None = None
    limit: str | None = None
    place: str = ""
    customer: str = ""


def calibrate(
    study: Study, wanted: Wanted, entered: Entered, book: Book, say: Say, complain: Say
) -> int:
    """Make a gauge's error curve, record it, and write its page where one is asked for."""
    gauge, signed = study.gauge, study.signed
    blocks = _blocks(gauge, entered)
    taken = take(gauge, wanted, book, say, complain)
    if isinstance(taken, int):
        return taken
    conditions = _conditions(gauge, taken.when, entered, signed, book)
    measured = _measured(gauge, taken, blocks, conditions, book)
    done = calibration.calibrate(gauge, measured, conditions)
    number = book.keep(calibration.to_record(done), _rows(gauge, taken, signed))
    say("\n".join([*calibration_lines(done), *_doubts([taken])]))
    working = calibration_working(done)
    if study.telling.explain:
        say("\n".join(indented(working)))
    say(f"  recorded as {number}")
    if study.telling.page is not None:
        drawn = pictures(taken.looks, gauge, taken.when)
        html.save(certificate(done, number or 0, working, drawn), study.telling.page)
        say(f"  page: {study.telling.page}")
    return DONE


def _measured(
    gauge: Gauge,
    taken: Taken,
    blocks: Sequence[Block],
    conditions: Conditions,
    book: Book,
) -> list[tuple[Block, Measurement]]:
    """Measure every block with its share of the readings; they come block by block."""
    each, over = divmod(len(taken.readings), len(blocks))
    if over or not each:
        lengths = " ".join(trimmed(block.length) for block in blocks)
        raise Problem(
            f"{how_many(len(taken.readings), 'reading')} for {how_many(len(blocks), 'block')} "
            f"({lengths} {gauge.scale.unit}): give as many for each, block by block"
        )
    check = book.zero_check_in_force(gauge.identifier, taken.when.at)
    if check is None:
        raise Problem(
            f"gauge {gauge.identifier} has no zero check of {taken.when.at:%Y-%m-%d} or before: "
            "check its zero first (datumline zero)"
        )
    warmth = None if conditions.celsius is None else Warmth(conditions.celsius, GAUGE_PER_K)
    about = About(taken.when, checks=(check,), warmth=warmth)
    return [
        (block, measure(gauge, taken.readings[i * each : (i + 1) * each], about))
        for i, block in enumerate(blocks)
    ]


def _blocks(gauge: Gauge, entered: Entered) -> list[Block]:
    """Read the blocks that were typed, or offer the standard's."""
    unit = gauge.scale.unit
    if entered.blocks is None:
        blocks = list(calibration.standard_blocks(gauge))
    else:
        blocks = [
            Block(as_entered(one.length, unit)) for one in parse_readings(entered.blocks, unit)
        ]
    if entered.deviations is None:
        return blocks
    deviations = parse_readings(entered.deviations, "um")
    if len(deviations) != len(blocks):
        raise Problem(f"--deviations: {len(deviations)} for {len(blocks)} blocks, give one a block")
    return [
        Block(block.length, as_entered(one.length, unit))
        for block, one in zip(blocks, deviations, strict=True)
    ]


def _conditions(
    gauge: Gauge, when: When, entered: Entered, signed: Signed, book: Book
) -> Conditions:
    """Gather what a calibration was done with and under."""
    unit = gauge.scale.unit

    def length(text: str | None) -> Decimal | None:
        if text is None:
            return None
        found = as_entered(parse_length(text, "um"), unit)
        if found <= 0:
            raise Problem(f"{text}: more than 0 is wanted here")
        return found

    known = facts.from_record(book.record_in_force(gauge.identifier, FACTS, when.at))
    return Conditions(
        at=when.at,
        blocks_u=float(length(entered.blocks_u) or 0) / COVERED,
        blocks_note=entered.blocks_note,
        celsius=entered.temperature,
        flatness=length(entered.flatness),
        parallelism=length(entered.parallelism),
        limit=length(entered.limit) or known.limit,
        place=entered.place,
        customer=entered.customer,
        who=signed.who,
        note=signed.note,
    )


def _rows(gauge: Gauge, taken: Taken, signed: Signed) -> list[KeptReading]:
    return kept(gauge, taken.when.at, taken.readings, signed.who)


def _doubts(found: Sequence[Taken]) -> list[str]:
    """Name the photos that are unsure, and a date that lies ahead."""
    readings = [one for taken in found for one in taken.readings]
    return [f"  warning: {one.message}" for one in (*unsure_readings(readings), *found[0].warned)]
