"""What a filter's record says of its use, and every way to get it wrong: file, row, column, and what to do."""

import pytest

from flowrig.errors import InputError
from flowrig.studies.life import life
from flowrig.studies.reduce import load
from tests.studies.cleaners_in_use import LIFE, cleaner

LOADING = "time [h],drop [Pa]\n0,70\n500,90\n1000,120\n"
CHARGE = "time [h],efficiency [%]\n0,86\n20,60\n200,52\n"
RECORD = """title = "Panel of the workshop"
date = 2026-08-10
invented = true
[filter]
figures = "stated"
width = "495 mm"
height = "495 mm"
linear = "38 Pa ± 3 Pa"
quadratic = "14 Pa ± 2 Pa"
particles = "1 to 3 um"
efficiency = ["86 %"]
efficiency_velocity = ["0.4 m/s"]
final_drop = "125 Pa"
final_velocity = "1.25 m/s"
loading = "loading.csv"
charge = "charge.csv"
"""


@pytest.fixture
def folder(tmp_path):
    def written(loading=LOADING, charge=CHARGE, record=RECORD):
        for name, text in (("loading.csv", loading), ("charge.csv", charge), ("panel.toml", record)):
            (tmp_path / name).write_text(text, encoding="utf-8")
        return tmp_path / "panel.toml"

    return written


def faults(call, *given, **named):
    with pytest.raises(InputError) as caught:
        call(*given, **named)
    return caught.value.faults


def told(found):
    return "\n".join(f"{f.where}: {f.read}; {f.expected}; {f.remedy}" for f in found)


def test_both_tables_in_si(folder):
    record = load(folder())
    loading, charge = record.in_use["loading"], record.in_use["charge"]
    assert (loading.along, loading.unit, charge.along) == ("time", "h", "time")
    assert loading.at.tolist() == [0.0, 1.8e6, 3.6e6]
    assert loading.value.tolist() == [70.0, 90.0, 120.0]
    assert charge.value.tolist() == pytest.approx([0.86, 0.60, 0.52])
    assert {"loading.csv", "charge.csv"} <= set(record.digests)


def test_a_mapping_stands_in_place_of_a_file(folder):
    held = cleaner(filter={"loading": {"time [h]": [0, 500, 1000], "drop [Pa]": [70, 90, 120]}})
    from_mapping = load(held).prediction.filters[0].value("filter").in_use["loading"]
    from_file = load(folder()).in_use["loading"]
    assert from_mapping.at.tolist() == from_file.at.tolist()
    assert from_mapping.value.tolist() == from_file.value.tolist()
    [fault] = faults(load, cleaner(filter={"loading": {"time [h]": [0, 500, 500], "drop [Pa]": [70, 90, 120]}}))
    assert fault.where.startswith("filter.loading, row 4, column 'time [h]'")


def test_months_are_a_time(folder):
    record = load(folder(loading="time [months],drop [Pa]\n0,70\n12,120\n"))
    assert record.in_use["loading"].at[1] == pytest.approx(365 * 86400.0)  # a year


LOADINGS = [
    ("time [h],pressure [Pa]\n0,70\n500,90\n", "loading.csv, header", "a column 'drop'"),
    (
        "hours,drop [Pa]\n0,70\n500,90\n",
        "loading.csv, header",
        "a column 'time', running time since the filter was new, or 'dust', dust fed",
    ),
    ("time [h],dust [g],drop [Pa]\n0,0,70\n500,20,90\n", "loading.csv, header", "either a time or the dust fed"),
    ("time,drop [Pa]\n0,70\n500,90\n", "loading.csv, column 'time'", "a unit of time"),
    ("time [Pa],drop [Pa]\n0,70\n500,90\n", "loading.csv, column 'time [Pa]'", "a unit of time"),
    ("time [h],drop [Pa]\n0,70\n", "loading.csv", "two rows at least"),
    ("time [h],drop [Pa]\n100,70\n500,90\n", "loading.csv, row 2, column 'time [h]'", "0 in the first row"),
    (
        "time [h],drop [Pa]\n0,70\n500,90\n400,95\n",
        "loading.csv, row 4, column 'time [h]'",
        "more than in the row above",
    ),
    ("time [h],drop [Pa]\n0,70\n500,0\n", "loading.csv, row 3, column 'drop [Pa]'", "a drop above zero"),
    ("time [h],drop [Pa]\n0,70\n500,9000\n", "loading.csv, row 3, column 'drop [Pa]'", "5000 Pa"),
    ("time [h],drop [Pa]\n0,70\n500,high\n", "loading.csv, row 3, 'drop [Pa]'", "a number"),
    ("time [h],drop [Pa]\n0,70\n,90\n", "loading.csv, row 3, column 'time [h]'", "a reading in every row"),
    ("time [h],drop [Pa],fan\n0,70,1\n500,90,1\n", "loading.csv, column 'fan'", "only the columns"),
]


@pytest.mark.parametrize(("loading", "where", "said"), LOADINGS)
def test_a_table_of_loading_that_is_none(folder, loading, where, said):
    [fault] = faults(load, folder(loading=loading))
    assert fault.where == where
    assert said in fault.expected, told([fault])
    assert fault.remedy


CHARGES = [
    ("time [h],efficiency [%]\n0,86\n20,120\n", "charge.csv, row 3, column 'efficiency [%]'", "100 %"),
    ("time [h],efficiency [%]\n0,0\n20,0\n", "charge.csv, row 2, column 'efficiency [%]'", "above zero"),
    ("dust [g],efficiency [%]\n0,86\n20,60\n", "charge.csv, header", "a column 'time'"),
]


@pytest.mark.parametrize(("charge", "where", "said"), CHARGES)
def test_a_table_of_charge_that_is_none(folder, charge, where, said):
    found = faults(load, folder(charge=charge))
    assert any(f.where == where and said in f.expected for f in found), told(found)


def test_faults_of_both_tables_are_told_at_once(folder):
    found = faults(load, folder(loading=LOADINGS[6][0], charge=CHARGES[1][0]))
    assert {f.where.partition(",")[0] for f in found} == {"loading.csv", "charge.csv"}


def test_faults_of_both_columns_are_told_at_once(folder):
    found = faults(load, folder(charge="time [h],efficiency [%]\n0,86\n20,160\n10,52\n"))
    assert [f.where for f in found] == [
        "charge.csv, row 3, column 'efficiency [%]'",
        "charge.csv, row 4, column 'time [h]'",
    ]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('final_velocity = "1.25 m/s"\n', "", "final_velocity, which belongs to"),
        ('loading = "loading.csv"', 'loading = "loading.csv"\nlife_to_final = "900 h"', "either a table of loading"),
        ('efficiency = ["86 %"]\nefficiency_velocity = ["0.4 m/s"]\n', "", "efficiency, which belongs to charge"),
    ],
)
def test_fields_that_belong_together(folder, old, new, said):
    assert old in RECORD
    found = faults(load, folder(record=RECORD.replace(old, new)))
    assert said in told(found)


def test_a_missing_file_is_told_where_it_is_named(folder):
    path = folder()
    (path.parent / "loading.csv").unlink()
    [fault] = faults(load, path)
    assert fault.where == "panel.toml, line 15, loading" or "panel.toml, line 15" in fault.where
    assert "loading.csv" in fault.read


# ---------------------------------------------------------------- a life that does not fit its filters


def lived(life_=None, **parts):
    return life(load(cleaner(life={**LIFE, **(life_ or {})}, **parts)))


def test_no_life_to_look_at():
    [fault] = faults(life, load(cleaner()))
    assert (fault.read, fault.remedy) == ("no [life]", 'Add it, with run = "2000 h" for instance.')


def test_a_loading_by_dust_needs_the_dust():
    [fault] = faults(lived, filter={"loading": {"dust [g]": [0, 40], "drop [Pa]": [70, 125]}})
    assert fault.where == "record, life"
    assert fault.read == "no dust"
    assert 'dust = "0.05 g"' in fault.remedy


def test_a_life_begins_with_new_filters():
    [fault] = faults(lived, filter={"life_to_final": "1000 h"}, entry={"loaded": "20 %"})
    assert fault.where == "record, filters[1].loaded"
    assert "new filters" in fault.expected


def test_a_final_drop_is_more_than_a_new_one():
    [fault] = faults(lived, filter={"life_to_final": "1000 h", "final_drop": "60 Pa"})
    assert fault.where == "record, filter.final_drop"
    assert fault.read == "60 Pa"
    assert "69.4 Pa" in fault.expected  # 38 · 1.25 + 14 · 1.25²


@pytest.mark.parametrize(
    ("lines", "field", "said"),
    [
        ({"currency": "EUR"}, "filter_price", "EUR"),
        ({"filter_price": "24 EUR"}, "filter_price", "USD"),
        ({"energy_price": "0.17 USD"}, "energy_price", "price of energy"),
        ({"run": "0 h"}, "run", "above 0"),
        ({"run": "2000 Pa"}, "run", "time"),
        ({"dust": "0.05 h"}, "dust", "mass"),
    ],
)
def test_lines_of_a_life_that_mean_nothing(lines, field, said):
    found = [f for f in faults(lived, lines) if f.where == f"record, life.{field}"]
    assert found
    assert said in told(found)
