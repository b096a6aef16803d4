"""Which findings of a cleaner's test are about the clean-air rate that a room takes from it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from flowrig.records.declare import Finding
from flowrig.records.sizes import Sizes, read_sizes
from flowrig.studies import cleaner, equal_noise, room_flags, size_classes
from flowrig.studies.result import Result

BESIDE = {"electrical": ("power", "apparent power"), "sound": ("sound level",)}  # and what instruments measure for them
PREDICTED_BESIDE = {
    "electrical": (cleaner.POWER_AT_SPEED, cleaner.SHAFT_POWER, cleaner.POWER_IN_AIR),
    "sound": equal_noise.FLAGS,
}
OF_A_CLASS = tuple(meaning for meaning in size_classes.FLAGS if meaning is not size_classes.STATE_NOT_TOLD)
_SIZES = re.compile(r"from \d[\d.]* um|\d[\d.]* to \d[\d.]* um")


def of_the_rate(result: Result, name: str, part: str, sizes: Sizes, also: Sequence[str] = ()) -> list[Finding]:
    """Alarms and warnings about a clean-air rate, and one line that points to the test for its others.

    Parameters
    ----------
    result : Result
        Of the test.
    name : str
        Of the cleaner, to stand in front.
    part : {'particles', 'decay'}
        Which part of the test tells the rate: flow times efficiency, or a decay.
    sizes : Sizes
        That the rate is for.
    also : sequence of {'electrical', 'sound'}
        Further parts that are as good as the rate: whoever reckons costs needs the watts.
    """
    kept: list[Finding] = []
    others = 0
    about = list(_about(result, part, also))
    aside = [kind for other, kinds in BESIDE.items() if other not in also for kind in kinds]
    for finding in result.all_findings:
        if finding.severity == "note":
            continue
        said = _of_sizes(finding.message, sizes) if any(finding is one for one in about) else ""
        if said and finding.meaning not in OF_A_CLASS and not _of_others(finding, result, aside):
            kept.append(Finding(finding.meaning, f"{name}: {said}"))
        else:
            others += 1
    if others:
        more = f"{others} further warning{'' if others == 1 else 's'}, not about this rate"
        kept.append(Finding(room_flags.MORE_IN_TEST, f"{name}: {more}; flowrig reduce {result.record.name}"))
    return kept


def predicted_of_the_rate(
    findings: Sequence[Finding], name: str, record: str, also: Sequence[str] = ()
) -> list[Finding]:
    """The same of a prediction, by what its findings mean.

    Parameters
    ----------
    findings : sequence of Finding
        Of the prediction.
    name, record : str
        Of the cleaner, and of the record of its prediction.
    also : sequence of {'electrical', 'sound'}
    """
    aside = [meaning for other, meanings in PREDICTED_BESIDE.items() if other not in also for meaning in meanings]
    told = [f for f in findings if f.severity != "note"]
    kept = [Finding(f.meaning, f"{name}: {f.message}") for f in told if f.meaning not in aside]
    if len(told) > len(kept):
        others = len(told) - len(kept)
        more = f"{others} further warning{'' if others == 1 else 's'}, not about this rate"
        kept.append(Finding(room_flags.MORE_IN_TEST, f"{name}: {more}; flowrig predict {record}"))
    return kept


def _about(result: Result, part: str, also: Sequence[str]) -> Iterator[Finding]:
    """Findings of what the rate is made of."""
    yield from result.findings
    for name in (part, *also):
        if name in result.parts:
            yield from result.parts[name].findings
    if part == "decay":
        return
    for flow in result.flows:
        yield from flow.findings
    for group in result.together:
        yield from group.findings
        if group.combined is not None:
            yield from group.combined.findings


def _of_sizes(message: str, sizes: Sizes) -> str:
    """What a message says of these sizes, or of none; empty where it speaks of others alone."""
    kept = []
    for piece in message.split("; "):
        named = [read_sizes(words) for words in _SIZES.findall(piece)]
        if not named or any(one.lower < sizes.upper and sizes.lower < one.upper for one in named):
            kept.append(piece)
    return "; ".join(kept)


def _of_others(finding: Finding, result: Result, aside: Sequence[str]) -> bool:
    """Whether a finding about instruments names none but those of watts and decibels."""
    named = [i for i in result.record.instruments.values() if re.search(rf"\b{re.escape(i.name)}\b", finding.message)]
    return bool(named) and all(i.kind in aside for i in named)
