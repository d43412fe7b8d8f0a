"""The tables `[rules]` and `[reminders]`: every figure with its range, and the mend outside it."""

from datetime import timedelta
from pathlib import Path

import pytest

from windwatch.errors import SettingsError
from windwatch.rules import Rules, figures
from windwatch.settings.read import read_settings
from windwatch.settings.schema import schema
from windwatch.settings.schema_rules import REMINDERS, range_in_words, shown, written

HERE = Path("field.toml")
MINIMAL = (Path(__file__).parents[2] / "config" / "minimal.toml").read_text(encoding="utf-8")
TABLE_OF = {name: "reminders" if name in REMINDERS else "rules" for name in figures()}


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def read(added: str):
    HERE.write_text(f"{MINIMAL}\n{added}\n", encoding="utf-8")
    return read_settings([HERE], {}, require_secrets=False).fleet


def toml(figure: object) -> str:
    return f'"{written(figure)}"' if isinstance(figure, timedelta) else shown(figure)


def with_figure(name: str, figure: object) -> str:
    return f"[{TABLE_OF[name]}]\n{name} = {toml(figure)}"


def test_without_the_tables_the_usual_figures_apply():
    assert read("").rules == Rules()


@pytest.mark.parametrize("name", figures())
def test_both_ends_of_the_range_are_taken(name):
    about = figures()[name]
    for figure in (about.least, about.most):
        more = "" if name != "remind_every" else '\nstanding_after = "48h"'
        rules = read(with_figure(name, figure) + more).rules
        assert getattr(rules, name) == figure
        assert type(getattr(rules, name)) is type(getattr(Rules(), name))


@pytest.mark.parametrize("name", figures())
def test_beyond_the_range_it_is_refused_with_the_range_and_an_example(name):
    about = figures()[name]
    whole = isinstance(about.most, timedelta | int)
    more = timedelta(minutes=1) if isinstance(about.most, timedelta) else 1 if whole else 0.01
    with pytest.raises(SettingsError) as refused:
        read(with_figure(name, about.most + more))
    (fault,) = refused.value.faults
    assert fault.key == f"{TABLE_OF[name]}.{name}"
    assert f"outside {range_in_words(about)}" in fault.problem
    assert f"{name} = {toml(getattr(Rules(), name))}" in fault.mend


@pytest.mark.parametrize("name", figures())
def test_the_schema_tells_range_default_and_who_says_so(name):
    about = figures()[name]
    described = schema()["$defs"][f"{TABLE_OF[name].capitalize()}Table"]["properties"][name]
    assert described["default"] == written(getattr(Rules(), name))
    assert about.what in described["description"]
    assert (about.source or "an engineering judgement") in described["description"]


def test_a_reminder_that_would_never_come_is_refused():
    with pytest.raises(SettingsError) as refused:
        read('[reminders]\nremind_every = "24h"')
    (fault,) = refused.value.faults
    assert fault.key == "reminders.remind_every"
    assert fault.problem.startswith('"24h": no reminder would ever be sent')
    assert read('[reminders]\nremind_every = "24h"\nstanding_after = "48h"')


def test_a_figure_in_the_wrong_table_is_sent_to_the_right_one():
    with pytest.raises(SettingsError) as refused:
        read('[rules]\nremind_every = "3h"')
    assert "move it to [reminders]" in refused.value.faults[0].mend


def test_a_misspelt_figure_is_recognised():
    with pytest.raises(SettingsError) as refused:
        read('[rules]\nrunway_holds = "45min"')
    assert refused.value.faults[0].mend == "did you mean runway_hold?"


def test_near_at_is_for_every_limit_that_has_none_of_its_own():
    def near(fleet):
        return {limit.near_at for craft in fleet.aircraft for limit in craft.limits}

    assert near(read("")) == {0.8}
    assert near(read("[rules]\nnear_at = 0.9")) == {0.9}
    own = MINIMAL.replace("crosswind_kt = 15", "crosswind_kt = { kt = 15, near_at = 0.7 }")
    HERE.write_text(f"{own}\n[rules]\nnear_at = 0.9\n", encoding="utf-8")
    assert 0.7 in near(read_settings([HERE], {}, require_secrets=False).fleet)
