"""A calibration as lines for people, and as a page with the items that a certificate has."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from reading.correct import program_version
from reading.gauges.calibration import Calibration
from reading.length import convert, plain, round_result, round_uncertainty, trimmed
from reading.pages import html
from reading.pages.drawing import Drawing, svg
from reading.pages.plot import Level, axis, plot

UM_PLACES = 2  # of an error in µm
NOT_ACCREDITED = (
    "This is a user's own record, not an accredited calibration certificate: no accreditation "
    "body stands behind it."
)
RULE = "guard band U on both sides of each limit (ISO 14253-1)"


def um(done: Calibration, length: Decimal | float, *, signed: bool = False) -> str:
    """Write a length in the gauge's unit as µm."""
    exact = length if isinstance(length, Decimal) else Decimal(repr(length))
    value = round(convert(exact, done.gauge.scale.unit, "um"), UM_PLACES)
    return plain(Decimal(trimmed(value)), signed=signed)


def um_figure(done: Calibration, u: float) -> str:
    """Write an uncertainty in the gauge's unit as µm, with two figures."""
    return plain(round_uncertainty(convert(Decimal(repr(u)), done.gauge.scale.unit, "um")))


def um_stated(done: Calibration, value: Decimal | float, expanded: float) -> str:
    """Write a length and its expanded uncertainty in µm, rounded by GUM 7.2.6."""
    unit = done.gauge.scale.unit
    exact = value if isinstance(value, Decimal) else Decimal(repr(value))
    rounded, u = round_result(
        convert(exact, unit, "um"), convert(Decimal(repr(expanded)), unit, "um")
    )
    if not u:
        rounded = round(rounded, UM_PLACES)
    return f"{plain(rounded, signed=True)} ± {plain(u)}"


def calibration_lines(done: Calibration) -> list[str]:
    """Write a calibration for people."""
    unit = done.gauge.scale.unit
    worst = done.worst
    lines = [
        f"{done.gauge.identifier}: greatest error "
        f"{um_stated(done, worst.error, worst.expanded)} µm, at {plain(worst.block.length)} {unit} "
        f"(k = {worst.k:.2f}, 95 %)"
    ]
    lines += [
        f"  {plain(point.block.length):>6} {unit}  "
        f"{um_stated(done, point.error, point.expanded):>12} µm"
        for point in done.points
    ]
    lines.append(f"  deviation of traverse {um(done, done.traverse)} µm")
    lines += [f"  {line}" for line in (*fit_lines(done), *verdict_lines(done))]
    return lines


def fit_lines(done: Calibration) -> list[str]:
    """Say what grows with length and what repeats each turn."""
    fit = done.fit
    if fit is None:
        return []
    unit = done.gauge.scale.unit
    per = Decimal(25) if unit == "mm" else Decimal(1)
    slope = um_stated(done, fit.slope * float(per), 2 * fit.u_slope * float(per))
    lines = [f"progressive: {slope} µm in {per} {unit} (k = 2)"]
    if fit.amplitude is None or fit.u_amplitude is None:
        return [
            *lines,
            "periodic: can't be told from these lengths (too few, or all at whole turns)",
        ]
    return [
        *lines,
        f"periodic: amplitude {um_stated(done, fit.amplitude, 2 * fit.u_amplitude)} µm each turn "
        "(k = 2)",
    ]


def verdict_lines(done: Calibration) -> list[str]:
    """Say whether every error keeps within the limit."""
    limit = done.conditions.limit
    if limit is None or done.verdict is None:
        return ["no error limit on record (--limit, or gauge set --limit): nothing is judged"]
    return [f"limit ± {um(done, limit)} µm: {done.verdict}; {RULE}"]


def certificate(
    done: Calibration,
    number: int,
    working: Sequence[str] = (),
    pictures: Sequence[tuple[str, bytes]] = (),
) -> str:
    """Lay a calibration out with the items of ISO/IEC 17025:2017 7.8.2 and 7.8.4.

    No date for the next calibration stands on it (7.8.4.3): that is the owner's affair.
    """
    gauge, conditions = done.gauge, done.conditions
    scale = gauge.scale
    end = "" if gauge.end is None else f" to {plain(gauge.end)}"
    mark = f"Record {number} of gauge {gauge.identifier}"
    items = (
        ("Record", mark),
        ("Place", conditions.place or "not stated"),
        ("For", conditions.customer or "not stated"),
        (
            "Item",
            f"micrometer {gauge.identifier}: pitch {scale.pitch} {scale.unit}, {scale.divisions} "
            f"divisions, range from {plain(scale.start)}{end} {scale.unit}",
        ),
        (
            "Condition and remarks",
            "; ".join(filter(None, (gauge.notes, conditions.note))) or "none",
        ),
        ("Date", f"{conditions.at:%Y-%m-%d}"),
        ("Method", "readings on gauge blocks, zero error taken off; error = reading − block"),
        ("Zero error taken off", f"{um(done, done.zero_error, signed=True)} µm"),
        ("Results before and after adjustment", "no adjustment was made"),
    )
    parts = [
        html.paragraph(NOT_ACCREDITED),
        html.table(("", ""), items),
        html.heading("Conditions"),
        html.items(_conditions(done)),
        html.heading("Results"),
        _results(done),
        html.drawing(svg(_curve(done)), "Errors over the range, in µm"),
        html.items([f"deviation of traverse {um(done, done.traverse)} µm", *fit_lines(done)]),
        html.heading("Conformity"),
        html.items(verdict_lines(done)),
        html.heading("Authorised by"),
        html.signature(conditions.who),
    ]
    if working:
        parts += [html.heading("Working"), html.working(working)]
    parts.append(html.gallery(pictures))
    footer = f"{mark}. End of the record. Made by datumline {program_version()}."
    title = f"Calibration of micrometer {gauge.identifier}"
    return html.page(title, parts, footer, f"{mark}, not accredited")


def _conditions(done: Calibration) -> list[str]:
    """Say what has an influence on the results, and how they are traceable."""
    entered = done.conditions
    blocks_u = um_figure(done, 2 * entered.blocks_u) if entered.blocks_u else ""
    lines = [
        "temperature: " + ("not stated" if entered.celsius is None else f"{entered.celsius} °C"),
        f"traceable through: {entered.blocks_note or 'not stated'}"
        + (f", blocks known to ± {blocks_u} µm (k = 2)" if blocks_u else ""),
    ]
    for name, value in (("flatness", entered.flatness), ("parallelism", entered.parallelism)):
        if value is not None:
            lines.append(f"{name} of the faces, as entered: {um(done, value)} µm")
    return lines


def _results(done: Calibration) -> str:
    """Lay out the points with their uncertainties."""
    unit = done.gauge.scale.unit
    rows = [
        (
            plain(point.block.length),
            um(done, point.block.deviation, signed=True),
            ", ".join(plain(one) for one in point.shown),
            um(done, point.error, signed=True),
            f"{um_figure(done, point.expanded)} (k = {point.k:.2f})",
        )
        for point in done.points
    ]
    header = (f"block/{unit}", "deviation/µm", f"shown/{unit}", "error/µm", "U/µm, 95 %")
    return html.table(header, rows)


def _curve(done: Calibration) -> Drawing:
    """Draw the error curve from the zero point on, with the limits."""
    unit = done.gauge.scale.unit

    def in_um(length: Decimal) -> float:
        return float(convert(length, unit, "um"))

    points = [(float(done.gauge.scale.start), 0.0)]
    points += [(float(one.block.length), in_um(one.error)) for one in done.points]
    limit = done.conditions.limit
    levels = [] if limit is None else [Level(sign * in_um(limit), "limit") for sign in (1, -1)]
    across = axis([x for x, _ in points])
    return plot(points, across, (f"length/{unit}", "error/µm"), [Level(0.0, ""), *levels])
