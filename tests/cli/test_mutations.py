"""The examples with a byte, a cell or a line changed at random: refused or reduced, never a failure of the program."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

from tests.cli.rig import PYTHON, Rig

EXAMPLES = sorted(p for p in (Path(__file__).parents[2] / "examples").iterdir() if re.match(r"\d\d-", p.name))
MOST = 60  # lines of a file; a batch in which every row must be drawn, or a week of tests, takes its time
EACH = 20  # mutations of each example; more of them were run once
WORDS = "nan inf -1 0 1e308 -0 99999 1,5 O ° ± “ degC Pa % k=2 true 2026-01-01 12:00:00 ../x [[flow]] [air]"
SIGNS = (b"", b" ", b'"', b"'", b"[", b"]", b"{", b"=", b",", b";", b"\t", b"\0", b"\xff", b"#", b"\n", b"\\", b'"""')
BITS = (*WORDS.encode().split(), *SIGNS)
VALUES = (
    b'3 3.5 true [] [1] [[1]] {} {a=1} "" "x" ["x","y"] 2026-01-01 nan inf "-5Pa" "1e400Pa" ["5Pa","6hPa"] "0" 0 -1 '
    b'{values=[1,2],unit="Pa"} {values=[],unit="Pa"} {values=[1],unit=3} "nozzle"'
).split()


def changed(data: bytes, chance: random.Random) -> bytes:
    """One change, of a kind drawn at random."""
    place = chance.randrange(len(data) + 1)
    lines = data.split(b"\n")
    line = chance.randrange(len(lines))
    tokens = list(re.finditer(rb"[\w.+%-]+", data))
    values = list(re.finditer(rb"(?m)=[ ]*(.*)$", data))
    kind = chance.choice(["byte", "cut", "hole", "bit", "drop", "repeat", "swap", "token", "digits", "value"])
    if kind == "byte":
        return data[:place] + bytes([chance.randrange(256)]) + data[place + 1 :]
    if kind == "cut":
        return data[:place]
    if kind == "hole":
        return data[:place] + data[place + chance.choice([1, 2, 5, 30]) :]
    if kind == "bit":
        return data[:place] + chance.choice(BITS) + data[place:]
    if kind == "drop":
        return b"\n".join(lines[:line] + lines[line + 1 :])
    if kind == "repeat":
        return b"\n".join(lines[:line] + lines[line : line + 1] * 2 + lines[line + 1 :])
    if kind == "swap":
        other = chance.randrange(len(lines))
        lines[line], lines[other] = lines[other], lines[line]
        return b"\n".join(lines)
    if kind == "value" and values:
        at = chance.choice(values)
        return data[: at.start(1)] + chance.choice(VALUES) + data[at.end(1) :]
    if not tokens:
        return data + chance.choice(BITS)
    at = chance.choice(tokens)
    new = chance.choice(BITS) if kind == "token" else chance.choice(tokens)[0] + b"0"
    return data[: at.start()] + new + data[at.end() :]


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda p: p.name)
def test_no_change_makes_the_program_fail(tmp_path: Path, example: Path) -> None:
    rig = Rig(tmp_path)
    sound = {p.name: p.read_bytes() for p in example.iterdir() if p.suffix in (".toml", ".csv") and p.stem != "flows"}
    sound = {name: b"\n".join(data.split(b"\n")[:MOST]) for name, data in sound.items()}
    arguments = ["reduce", "record.toml", *(["--rows", "tests.csv"] if "tests.csv" in sound else [])]
    chance = random.Random(example.name)
    refused = 0
    for number in range(EACH):
        spoilt = dict(sound)
        for _ in range(chance.choice([1, 1, 2])):
            name = chance.choice(sorted(spoilt))
            spoilt[name] = changed(spoilt[name], chance)
        for name, data in spoilt.items():
            rig.write(name, data)
        code, out, err = rig.run(*arguments, "--json", "result.json")
        told = f"{example.name}, change {number}: exit {code}\n{err}"
        assert code in (0, 1, 2), told
        assert not PYTHON.search(err), told
        assert str(tmp_path) not in err, told
        assert (tmp_path / "result.json").exists() == (code == 0), told
        assert bool(err) == (code != 0), told
        assert bool(out) == (code == 0), told
        refused += code == 2
        (tmp_path / "result.json").unlink(missing_ok=True)
    assert refused > EACH / 4


WEEK = Path(__file__).parents[2] / "examples" / "25-working-week"


@pytest.mark.parametrize("name", ["record", "classroom", "wing", "ten-years", "panels", "counters"])
def test_no_line_that_is_missing_makes_a_reader_fail(tmp_path: Path, name: str) -> None:
    """Each line of a record left out in turn: read, or refused with what is missing."""
    from flowrig.errors import InputError
    from flowrig.studies.reduce import load

    for path in (p for p in WEEK.iterdir() if p.suffix in (".toml", ".csv")):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    for shelf in ("curves", "calibrations"):
        for path in (p for p in (WEEK.parent / shelf).glob("*.*") if p.suffix in (".toml", ".csv")):
            (tmp_path / path.name).write_bytes(path.read_bytes())
    lines = (WEEK / f"{name}.toml").read_text(encoding="utf-8").split("\n")
    told: dict[str, int] = {}
    for number, line in enumerate(lines):
        if not line.strip() or line.startswith("#"):
            continue
        path = tmp_path / f"{name}.toml"
        path.write_text("\n".join(lines[:number] + lines[number + 1 :]), encoding="utf-8")
        try:
            load(path)
        except InputError as error:
            told[line] = len(error.faults)
    assert len(told) > 3
    # without its heading every line of a table stands in another; one line alone has its own, or those of its choice
    assert {line: n for line, n in told.items() if n > 6 and not line.startswith("[")} == {}
