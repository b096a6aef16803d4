"""From the tables of a record to samples and counters: coincidence put back, tubes and air looked at."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.methods import air
from flowrig.physics.particles import coincidence_dead_time, coincidence_loss
from flowrig.physics.sampling import tube_volumes
from flowrig.records import flags
from flowrig.records.count_record import CountRecord
from flowrig.records.counts_table import CountTable
from flowrig.records.declare import Finding
from flowrig.records.items import Item, Section
from flowrig.records.particle_facts import ZERO
from flowrig.records.record import Record
from flowrig.studies import particle_flags as found
from flowrig.studies.counted_ratio import Key
from flowrig.studies.counter import DEAD_TIME_LIMIT, FLOW_LIMIT, Counter
from flowrig.studies.counting import Background
from flowrig.studies.samples import UPSTREAM, Samples
from flowrig.uncertainty.estimate import Array

LOSS = 0.05  # share missed, from which it is told
HALF = 0.5  # of the maximum concentration
VOLUMES = 5.0  # of the tube; common practice, no source
YEAR = 366  # days between calibrations
HUMID = 0.60  # common practice, no source
COARSE = 1e-6  # size from which aspiration counts [m]; common practice, no source


@dataclass
class Sampling:
    """All samples of a record.

    Attributes
    ----------
    table : CountTable
    samples : Samples
        Of every run, in the order of rows.
    counters : dict of str to Counter
    findings : list of Finding
    """

    table: CountTable
    samples: Samples
    counters: dict[str, Counter]
    findings: list[Finding] = field(default_factory=list)

    def of(self, run: str) -> Samples:
        return self.samples.only(self.table.rows(run))

    def background(self, place: str) -> dict[Key, Background]:
        """False counts by counter and side: of each side by itself where the zero filter was counted at both.

        Parameters
        ----------
        place : str
            By which causes of the record are known.
        """
        rows = self.table.rows(ZERO)
        told: dict[Key, Background] = {}
        for name in dict.fromkeys(self.table.counter[i] for i in rows):
            own = [i for i in rows if self.table.counter[i] == name]
            sides = {
                up: [i for i in own if self.table.place[i] and bool(self.samples.upstream[i]) is up]
                for up in (True, False)
            }
            apart = all(sides.values())
            for up, at in sides.items():
                at = at if apart else own
                side = f"|{'before' if up else 'behind'}" if apart else ""
                counts = np.sum(self.samples.counts[at], axis=0)
                volume = float(np.sum(self.samples.volume[at]))
                told[name, up] = Background(counts, volume, f"{place}:zero|{name}{side}")
        return told


def sampling(record: Record, content: CountRecord) -> Sampling:
    """Samples and counters of a record."""
    table = content.table
    assert table is not None
    findings: list[Finding] = []
    used = {name: section for name, section in content.counters.items() if name in table.counter}
    counters = {name: counter_of(name, s, record, findings, len(used) == 1) for name, s in used.items()}
    hidden = np.zeros(len(table.run))
    for name, counter in counters.items():
        rows = np.flatnonzero([c == name for c in table.counter])
        hidden[rows] = _hidden(counter, content.counters[name], table, rows, findings)
    samples = Samples(
        table.time,
        np.array([place == UPSTREAM for place in table.place], dtype=bool),
        tuple(table.counter),
        tuple(table.point),
        table.velocity,
        table.counts,
        table.volume,
        hidden,
        table.lower,
        table.upper,
    )
    for name in table.not_whole:
        findings.append(Finding(found.NOT_WHOLE, f"counter {name}"))
    for name, times in table.times.items():
        said = f"counter {name}: all counts would be multiples of {times:.0f}; taken as {times:.0f} times fewer"
        findings.append(Finding(found.SMALLER, said))
    findings += _silent(table, counters)
    findings += _flushed(content, counters)
    findings += _humid(record)
    if np.any(table.lower >= COARSE) and "aspiration_limit" not in content.particles:
        findings.append(Finding(found.NO_ASPIRATION, "channels from 1 um on"))
    return Sampling(table, samples, counters, findings)


def aspiration(content: CountRecord, lower: Array) -> Array:
    """Limit of what inlets may do to the ratio, by channel."""
    limit = content.particles.value("aspiration_limit", 0.0)
    return np.where(lower >= COARSE * (1.0 - 1e-9), limit, 0.0)


def _silent(table: CountTable, counters: dict[str, Counter]) -> Iterator[Finding]:
    """Counters that nothing shows to be counting."""
    particles = np.array([run != ZERO for run in table.run], dtype=bool)
    before = np.array([place == UPSTREAM for place in table.place], dtype=bool)
    by = np.array(table.counter)
    seen = np.any(table.counts > 0.0, axis=1)
    for name in counters:
        own = particles & (by == name)
        if np.any(own & before) and not np.any(seen & own & before):
            yield Finding(found.SHOWS_NOTHING, f"counter {name}: {int(np.sum(own & before))} samples upstream")
        elif np.any(own) and not np.any(seen & own):
            yield Finding(found.NEVER_SEEN, f"counter {name}: {int(np.sum(own))} samples, all behind the filter")


def _limit(item: Item) -> float:
    """What the ± beside a value allows, as a share of it and as a limit; 0 without one."""
    if not item.components:
        return 0.0
    variance = sum(float(c.standard(item.value)) ** 2 for c in item.components)
    return math.sqrt(3.0 * variance) / float(item.value)


def counter_of(name: str, section: Section, record: Record, findings: list[Finding], alone: bool = True) -> Counter:
    """A counter from the section that describes it; what is assumed or missing is told."""
    serial, calibrated, due = (section.value(f) for f in ("serial", "calibrated", "due"))
    identity = f"instrument:{serial}|particle counter|{calibrated or 'no date'}"
    if not serial:
        identity = f"{record.id}:counters.{name}"
        findings.append(Finding(flags.NO_SERIAL, f"counter {name}"))
    tested = record.heading.value("date")
    if due and tested and tested > due:
        said = f"counter {name}: calibration fell due on {due}, test on {tested}"
        findings.append(Finding(flags.OVERDUE, said))
    elif calibrated and tested and (tested - calibrated).days > YEAR:
        said = f"counter {name}: calibrated on {calibrated}; ISO 21501-4 asks for once a year (from memory)"
        findings.append(Finding(flags.OVERDUE, said))
    flow = section.value("sample_flow")
    flow_limit = _limit(section["sample_flow"])
    assumed = [] if flow_limit or alone else [f"sample flow within {100 * FLOW_LIMIT:.0f} %"]
    if section["size_error"].assumed:
        assumed.append(f"size limits within {100 * section.value('size_error'):.0f} %")
    most = section.value("max_concentration", math.nan)
    dead, dead_limit = section.value("dead_time", 0.0), DEAD_TIME_LIMIT
    if "dead_time" in section:
        dead_limit = _limit(section["dead_time"]) or DEAD_TIME_LIMIT
    elif most > 0.0:
        dead = float(coincidence_dead_time(most, section.value("loss"), flow))
        if section["loss"].assumed:
            assumed.append(f"{100 * section.value('loss'):.0f} % missed at its maximum concentration")
    else:
        findings.append(Finding(found.NO_MOST, f"counter {name}"))
    if assumed:
        findings.append(Finding(flags.ASSUMED, f"counter {name}: {'; '.join(assumed)}"))
    return Counter(
        name,
        identity,
        flow,
        section.value("size_error"),
        flow_limit or FLOW_LIMIT,
        section.value("count_error"),
        dead,
        dead_limit,
        most,
        f" ({serial})" if serial else "",
    )


def _hidden(
    counter: Counter, section: Section, table: CountTable, rows: NDArray[np.intp], findings: list[Finding]
) -> Array:
    """Mean number of particles within the dead time of one, in each sample; what that means is told."""
    shown = table.counts[rows] / table.volume[rows][:, np.newaxis]
    loss = np.asarray(coincidence_loss(shown, counter.flow, counter.dead_time))[:, 0]
    flooded = np.isnan(loss)
    loss = np.where(flooded, 1.0 - math.exp(-1.0), loss)
    total = np.sum(shown, axis=1) / (1.0 - loss)
    worst = int(np.argmax(np.where(flooded, np.inf, total)))
    unit = section["max_concentration"].unit if "max_concentration" in section else "1/cm3"
    level = f"{units.from_si(total[worst], unit, 'concentration'):.3g} {unit}"
    where = f"counter {counter.name}, {table.name}, row {table.line[rows[worst]]}"
    if flooded[worst]:
        findings.append(Finding(found.OVER_MOST, f"{where}: more than any concentration would make it show"))
    elif total[worst] > counter.most:
        findings.append(Finding(found.OVER_MOST, f"{where}: {level}, {100 * total[worst] / counter.most:.0f} % of it"))
    elif total[worst] > HALF * counter.most:
        findings.append(Finding(found.NEAR_MOST, f"{where}: {level}, {100 * total[worst] / counter.most:.0f} % of it"))
    if np.max(loss) > LOSS:
        findings.append(Finding(found.LOSS, f"{where}: {100 * loss[worst]:.1f} % of all particles missed"))
    return np.asarray(-np.log1p(-loss))


def _flushed(content: CountRecord, counters: dict[str, Counter]) -> list[Finding]:
    section = content.particles
    if "tube_length" not in section:
        return [Finding(found.FLUSH_UNKNOWN, "state tube_length, tube_diameter and waiting_time")]
    tube = (section.value("tube_length"), section.value("tube_diameter"))
    wait = section.value("waiting_time")
    told = []
    for counter in counters.values():
        volumes = float(tube_volumes(*tube, counter.flow, wait))
        if volumes < VOLUMES:
            needed = wait * VOLUMES / volumes if volumes else math.inf
            more = f"; {VOLUMES:.0f} take {needed:.0f} s" if math.isfinite(needed) else ""
            told.append(Finding(found.NOT_FLUSHED, f"counter {counter.name}: {volumes:.1f} tube volumes{more}"))
    return told


def _humid(record: Record) -> list[Finding]:
    for name in ("room", "unit", "meter"):
        section = record.air.get(name)
        if section is None:
            continue
        given = {f: np.mean(section.value(f)) for f in ("relative_humidity", "wet_bulb", "dew_point") if f in section}
        if "temperature" not in section or not given:
            continue
        pressure = float(np.mean(section.value("pressure", np.array([101325.0]))))
        temperature = float(np.mean(section.value("temperature")))
        zero = np.zeros(())
        state = air.kernel(np.asarray(temperature), np.asarray(pressure), zero, zero, **given)
        humidity = float(state["relative_humidity"])
        if humidity > HUMID:
            return [Finding(found.HUMID, f"air.{name}: {100 * humidity:.0f} % relative humidity")]
        return []
    return []
