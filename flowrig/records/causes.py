"""Causes of error that come with any instrument or any run of readings. `flowrig explain` prints these words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CauseMeaning:
    """What a cause of a budget stands for.

    Attributes
    ----------
    name : str
        As the budget calls it, behind the name of the instrument.
    meaning : str
        What it is, how its size is found, and what would make it smaller.
    source : str
    label : str
        What the budget says instead, where a name alone would not do.
    """

    name: str
    meaning: str
    source: str = ""
    label: str = ""


CAUSES = (
    CauseMeaning(
        "accuracy",
        "Limits of the instrument as its maker or a certificate states them. A plain limit is taken as rectangular "
        "(half-width over √3), a certificate's U is divided by its k. One error shared by every reading of the "
        "instrument, and by other records that name the same serial number and date: repeating does not average it "
        "away, a better instrument does.",
        "JCGM 100:2008, 4.3.3, 4.3.4 and 4.3.7 (numbers of clauses from memory)",
    ),
    CauseMeaning(
        "drift",
        "Change since the calibration, from the yearly change the maker states and the time between certificate and "
        "test. Nothing is added while the accuracy itself is stated to hold for that long. A fresh calibration "
        "removes it.",
        "JCGM 100:2008, 4.3.7 (number of clause from memory)",
    ),
    CauseMeaning(
        "resolution",
        "The step of the last digit: rectangular, half a step to each side. Independent from point to point of a "
        "grid and from row to row of a table; of repeated readings nothing is added once they scatter by more than "
        "half a step, since the scatter then holds it already.",
        "JCGM 100:2008, F.2.2.1 (number of clause from memory)",
    ),
    CauseMeaning(
        "zero drift",
        "The display with open ports moved between before and after. The zero in between is subtracted on a straight "
        "line in time; what may still be left is a limit shared by all readings of the set-up, the change over √12. "
        "Read the zero more often, or let the instrument warm up.",
        "JCGM 100:2008, 4.3.7 (number of clause from memory)",
    ),
    CauseMeaning(
        "reference density",
        "A display of velocity holds at the density its datasheet names. The ± stated with that density, or, where "
        "none is named, the spread of the usual ones. Write reference_density with the instrument.",
    ),
    CauseMeaning(
        "stated ±",
        'The ± written beside a reading in the record itself, as "250.3 Pa ± 1.5 Pa"; of this reading alone.',
    ),
    CauseMeaning(
        "scatter",
        "How far repeated or logged readings differ, as the standard error of their mean; of a log the likeness of "
        "neighbouring readings is taken into account, so that logging faster does not make it smaller. More readings, "
        "or a longer log, do.",
        "JCGM 100:2008, 4.2 (number of clause from memory)",
    ),
    CauseMeaning(
        "home-made coefficient",
        "How far a nozzle not machined to the standard's profile may lie from its equation: the limit stated with the "
        "nozzle. An error of that nozzle, the same in every test with it; a calibration against a reference removes "
        "it.",
        "common practice, no source: 3 to 5 %",
    ),
    CauseMeaning(
        "calibration",
        "One cause of error of a calibration file, with what it moves there: of the reference, of the air, of the "
        "scatter of the fit. Every result made with the file shares it, and it shows at another place of the curve in "
        "another size. What the calibration has in common with the record (a manometer) is one line, not two.",
    ),
    CauseMeaning(
        "unsteadiness",
        "The root of an averaged pressure differs from the average of "
        "the roots: the first is right for a noisy sensor, the second for a flow that really changes. Where the record "
        "does not say which (field fluctuation), the middle is taken and the distance to either is the limit.",
        "second-order expansion of the root",
        "unsteady flow or noisy sensor",
    ),
    CauseMeaning(
        "course of the clean air",
        "Of a set of filters of which only the clean air at their change is told: whether it falls early or late. The "
        "mean is taken halfway, with half of the way to either end as the limit. State mean_over_life, or name a "
        "prediction with a table [life].",
        "own judgement, no source",
    ),
    CauseMeaning(
        "workmanship",
        "How far a plain hole in a box may lie from its equation by the way it was cut: 4 % at 95 % with care, 25 % by "
        "hand. An error of that hole, the same in every test with it; a calibration against a reference removes it.",
        "common practice, no source: 3 to 5 %, 10 to 30 %",
    ),
    CauseMeaning(
        "fall of the curve",
        "How well a unit's curve knows the flow that a hood over it takes away: the share stated as fall_limit, 30 % "
        "of what is lost where nothing is.",
        "common practice, no source",
    ),
    CauseMeaning(
        "scatter about the curve",
        "How far the points of a calibration lie off their curve by more than their known errors explain. The fit "
        "averages it, as far as there are points; it is independent from point to point, and known by as many degrees "
        "of freedom as there are points beyond the curve's numbers.",
        "Paule and Mandel, J. Res. NBS 87 (1982) 377 (from memory)",
    ),
    CauseMeaning(
        "mountings",
        "The curve of a calibration is through the mean of the mountings that were calibrated; the mean of others "
        "would lie elsewhere. More remountings make it smaller, more points do not.",
    ),
    CauseMeaning(
        "up and down differ",
        "Half the difference between points approached from below and from above, as a limit: added only where the "
        "difference is more than chance.",
    ),
    CauseMeaning(
        "readings of the calibration",
        "All that is a calibration's own and bell-shaped, or small, in as few directions as say the same: resolution, "
        "scatter of repeats, zero.",
        "QR decomposition; the covariance of the numbers stays what it was",
    ),
    CauseMeaning(
        "compression",
        "Of a leak test by decay: whether the walls kept the air at its temperature while it expanded, m from 1 to "
        "1.4. Stated as compression with its ±; a slow fall beside metal is near 1.",
        "polytropic change of state of an ideal gas",
    ),
    CauseMeaning(
        "temperature in the chamber",
        "Of a leak test by decay: what the air may have warmed or cooled moves its pressure, 34 Pa for 0.1 K. Stated "
        "as temperature_drift, a limit.",
        "ideal gas",
    ),
    CauseMeaning(
        "stated fan curve",
        "How far flow, pressure or power of a fan, or the temperature of its motor, may lie off what a maker states or "
        "a table prints: the limit stated as flow_limit, pressure_limit, power_limit or motor_temperature_limit, 10 % "
        "and 5 K where nothing is. One error of all points. A curve measured on the rig removes it.",
        "ISO 13348:2007, grade AN4 (from memory)",
    ),
    CauseMeaning(
        "fan curve between its points",
        "A smooth curve that rises, falls and dips where the points do, against straight lines from point to point: "
        "what a fan does between its points was not measured, and their difference is the limit. Points nearer "
        "together make it smaller.",
    ),
    CauseMeaning(
        "stated drop of the filter",
        "How far the drop of a filter may lie off its data sheet, one error of all of its sort: drop_limit, 15 % where "
        "nothing is stated. One filter measured on the rig removes it.",
        "common practice, no source: 10 to 20 %",
    ),
    CauseMeaning(
        "stated points off the filter's curve",
        "How far stated drops lie off the curve through them: rounding of print, or a filter that follows no such "
        "law. The greatest of them is taken for each point.",
    ),
    CauseMeaning(
        "scatter about the filter's curve",
        "How far measured drops lie off the filter's curve by more than their known errors explain, with as many "
        "degrees of freedom as there are points beyond the curve's numbers. More points make it smaller.",
        "Paule and Mandel, J. Res. NBS 87 (1982) 377 (from memory)",
    ),
    CauseMeaning(
        "exponent of the filter",
        "The drop is known at one velocity alone, and how it goes with velocity is assumed: 1.4 ± 0.3 where no "
        "exponent is stated. It counts for nothing at that velocity and grows away from it; a second point removes it.",
        "media 1.18 on average: Li et al., Sep. Purif. Technol. 284 (2022) 120209; limits own judgement",
    ),
    CauseMeaning(
        "spread from piece to piece",
        "How far the drop of one filter lies off that of its sort: piece_spread, 5 % where nothing is stated. Over the "
        "pieces side by side it averages.",
        "common practice, no source",
    ),
    CauseMeaning(
        "measured piece against its sort",
        "One filter was measured and stands for its sort: how far it may lie off the mean of that sort, piece_spread. "
        "It does not average over the pieces of a bank; more pieces measured would, or piece_spread = 0 % where the "
        "very piece is used.",
        "common practice, no source",
    ),
    CauseMeaning(
        "gap",
        "Size of the gap beside a filter, or the coefficient of the flow through it, with the ± stated. More gap is "
        "more flow and less efficiency; tape removes both.",
    ),
    CauseMeaning(
        "covered share",
        "How much of a face grille, tape or a neighbour covers, with the ± stated.",
    ),
    CauseMeaning(
        "efficiency",
        "How far the efficiency of a filter may lie off what its record says, efficiency_limit or the ± stated; one "
        "error at all velocities. Counts before and after the filter tell it.",
    ),
    CauseMeaning(
        "loss",
        "Coefficient or area of a grille, bend or duct that all of the air passes, with the ± stated.",
    ),
    CauseMeaning(
        "backflow",
        "Open area around a fan without a shroud, or the coefficient of the flow back through it, with the ± stated. A "
        "shroud removes both.",
    ),
    CauseMeaning(
        "load of the filters",
        "How far the filters are on their way to the final drop, with the ± stated beside loaded. A gauge over the "
        "bank tells it.",
    ),
    CauseMeaning(
        "life to the final drop",
        "How long the drop takes to grow to the final one: the ± beside life_to_final, half of it where nothing is "
        "stated. Dust differs from place to place and from season to season; readings of a gauge over some months, as "
        "a table of loading, make it smaller.",
        "own judgement, no source",
    ),
    CauseMeaning(
        "growth of the drop",
        "How far the growth of the drop may lie off the table of loading where the filter is used: loading_limit, 25 % "
        "where nothing is stated.",
        "own judgement, no source",
    ),
    CauseMeaning(
        "dust that reaches a filter",
        "The dust of an hour with the ± stated, where a loading is told by dust.",
    ),
    CauseMeaning(
        "efficiency in use",
        "How far the efficiency of a filter that lost some of its charge may lie off its table, efficiency_limit: it "
        "grows as the part of that limit goes which the new filter's efficiency brings.",
    ),
    CauseMeaning(
        "price",
        "Price of a filter, of a change or of energy, with the ± stated.",
    ),
)
